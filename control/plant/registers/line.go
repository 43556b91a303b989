package registers

import (
	"math/rand/v2"
	"sync"
	"time"

	"drumwright/profiles"
)

// WireFaults spoils the replies on every simulated bus, each kind every so many
// replies; 0 = never. If several kinds fall on one reply, the first in this list
// acts. A TCP bus stands for a gateway: of a reply that its line drops or
// corrupts it tells by exception 0x0B, and it never passes a foreign one on.
type WireFaults struct {
	DropEvery    int           // no reply
	CorruptEvery int           // wrong checksum
	ForeignEvery int           // the reply carries the address of another unit
	LateEvery    int           // the reply comes later by LateBy; others may overtake it
	LateBy       time.Duration // wall-clock time

	// Share of all replies is dropped or corrupted at random, half of it each.
	Share float64
	Seed  uint64
}

// wire is what all buses of a server share.
type wire struct {
	mu     sync.Mutex
	faults WireFaults
	n      int
	dice   *rand.Rand
}

type spoiling int

const (
	sound spoiling = iota
	dropped
	corrupt
	foreign
	late
)

// next counts a reply and tells what becomes of it.
func (w *wire) next() (spoiling, time.Duration) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.n++
	f := &w.faults
	for _, c := range [...]struct {
		every int
		what  spoiling
	}{{f.DropEvery, dropped}, {f.CorruptEvery, corrupt}, {f.ForeignEvery, foreign}, {f.LateEvery, late}} {
		if c.every > 0 && w.n%c.every == 0 {
			return c.what, f.LateBy
		}
	}
	if f.Share > 0 {
		switch x := w.dice.Float64(); {
		case x < f.Share/2:
			return dropped, 0
		case x < f.Share:
			return corrupt, 0
		}
	}
	return sound, 0
}

// SetWireFaults sets the faults of the buses and begins to count anew.
func (s *Server) SetWireFaults(f WireFaults) {
	s.wire.mu.Lock()
	defer s.wire.mu.Unlock()
	s.wire.faults, s.wire.n = f, 0
	s.wire.dice = rand.New(rand.NewPCG(f.Seed, 0x77697265))
}

// line is one simulated serial line with all its devices.
type line struct {
	s       *Server
	bus     int
	pty     *pty
	linked  string // where a link to the pseudo-terminal was made; "" if nowhere
	timing  timing
	unpaced bool
	wg      sync.WaitGroup
}

// timing is how long things take on a real line.
type timing struct {
	character time.Duration
	silence   time.Duration // between two frames
	turnRound time.Duration // what the device needs for its reply
}

// timingOf follows Modbus over serial line V1.02, sections 2.5.1 and 2.5.1.1
// (values from memory): 11 bits a character with the usual settings, and a
// silence of 3.5 characters, above 19,200 baud of 1.75 ms.
func timingOf(r *profiles.RTU, turnRound time.Duration) timing {
	bits := 1 + 8 + 1 // start, data, stop
	if r.Parity != "none" {
		bits++
	}
	if r.Stop == 2 || r.Stop == 0 && r.Parity == "none" {
		bits++
	}
	t := timing{character: time.Duration(bits) * time.Second / time.Duration(r.Baud), turnRound: turnRound}
	t.silence = t.character * 7 / 2
	if r.Baud > 19200 {
		t.silence = 1750 * time.Microsecond
	}
	return t
}

// exchange is the time from the first bit of a request to the last of its
// reply.
func (t timing) exchange(request, reply int) time.Duration {
	return time.Duration(request+reply)*t.character + t.silence + t.turnRound
}

// serve answers until the pseudo-terminal is closed.
func (l *line) serve() {
	var in assembler
	buf := make([]byte, maxFrame)
	for {
		atMost := time.Duration(0)
		if in.waits() {
			atMost = l.timing.silence
		}
		n, err := l.pty.read(buf, atMost)
		if err != nil {
			return
		}
		arrived := time.Now()
		if n == 0 {
			if frame := in.silence(); frame != nil {
				l.answer(frame, arrived)
			}
			continue
		}
		for _, b := range buf[:n] {
			if frame := in.take(b); frame != nil {
				l.answer(frame, arrived)
			}
		}
	}
}

// answer replies to a request that arrived at that time. A pseudo-terminal has
// no speed: bytes arrive at once, so the reply is held back by the time that
// both would have taken.
func (l *line) answer(frame []byte, arrived time.Time) {
	l.pty.share()
	pdu := l.s.answer(l.bus, frame[0], frame[1:len(frame)-2])
	if pdu == nil {
		return
	}
	reply := sealed(frame[0], pdu)
	due := arrived
	if !l.unpaced {
		due = due.Add(l.timing.exchange(len(frame), len(reply)))
	}
	spoil, by := l.s.wire.next()
	switch spoil {
	case dropped:
		return
	case corrupt:
		reply[len(reply)-1] ^= 0xFF
	case foreign:
		reply = sealed(frame[0]+1, pdu)
	case late:
		l.wg.Go(func() { l.send(reply, due.Add(by)) })
		return
	}
	l.send(reply, due)
}

func (l *line) send(reply []byte, due time.Time) {
	if wait := time.Until(due); wait > 0 {
		select {
		case <-time.After(wait):
		case <-l.s.closed:
			return
		}
	}
	_ = l.pty.write(reply) // it only fails when closed
}

func (l *line) close() {
	if l.linked != "" {
		unlink(l.linked, l.pty.path)
	}
	l.pty.close()
	l.wg.Wait()
}

package registers

import (
	"sync"
	"time"

	"drumwright/profiles"
)

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
	spoil, by := l.s.wires[l.bus].next()
	switch spoil {
	case dropped:
		return
	case corrupt:
		reply[len(reply)-1] ^= 0xFF
	case foreign:
		reply = sealed(frame[0]+1, pdu)
	case lateReply:
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

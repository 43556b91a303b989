package registers

import (
	"math/rand/v2"
	"sync"
	"time"
)

// WireFaults spoils the replies on every simulated bus, each kind every so many
// replies of the bus; 0 = never. If several kinds fall on one reply, the first in this list
// acts. A TCP bus stands for a gateway: of a reply that its line drops or
// corrupts it tells by exception 0x0B, and it never passes a foreign one on.
type WireFaults struct {
	DropEvery    int           // no reply
	CorruptEvery int           // wrong checksum
	ForeignEvery int           // the reply carries the address of another unit
	LateEvery    int           // the reply comes later by LateBy; others may overtake it
	LateBy       time.Duration // wall-clock time; in Exchange after the master has given up

	// Share of all replies is dropped or corrupted at random, half of it each.
	Share float64
	Seed  uint64
}

// wire is what becomes of the replies of one bus.
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
	lateReply
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
	}{{f.DropEvery, dropped}, {f.CorruptEvery, corrupt}, {f.ForeignEvery, foreign}, {f.LateEvery, lateReply}} {
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

// SetWireFaults sets the faults of every bus and begins to count anew.
func (s *Server) SetWireFaults(f WireFaults) {
	for i := range s.wires {
		s.wires[i].set(f, rand.New(rand.NewPCG(f.Seed, 0x77697265+uint64(i))))
	}
}

func (w *wire) set(f WireFaults, dice *rand.Rand) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.faults, w.n, w.dice = f, 0, dice
}

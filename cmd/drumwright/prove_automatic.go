package main

import (
	"context"
	"sync"

	"drumwright/io/record"
	"drumwright/safety/proof"
)

// byItself is who made a test that needs nobody.
const byItself = "drumwright"

// automaticProofs keeps the proof tests that an ordinary day makes by itself. It
// stores them from a goroutine of its own: that waits for the disk, and the scan
// does not.
type automaticProofs struct {
	auto *proof.Automatic
	book *proofBook
	done chan record.Proof
	work sync.WaitGroup
}

func newAutomaticProofs(book *proofBook) *automaticProofs {
	a := &automaticProofs{auto: proof.NewAutomatic(book.tests), book: book, done: make(chan record.Proof, 16)}
	a.work.Go(func() {
		for p := range a.done {
			a.book.keepAutomatic(p)
		}
	})
	return a
}

// Put takes a scan.
func (a *automaticProofs) Put(s *record.Scan) { a.auto.See(s, a.keep) }

func (a *automaticProofs) keep(t *record.ProofTest, f proof.Finding) {
	p := record.Proof{Test: t.ID, Who: byItself, Seen: f.Seen, MeasuredS: f.MeasuredS, Result: record.ProofPass, Expected: t.Expected, LimitS: t.LimitS}
	if !f.Pass {
		p.Result = record.ProofFail
	}
	select {
	case a.done <- p:
	default: // a few a day: the disk has stood for long, and the journal says so
	}
}

func (a *automaticProofs) close() {
	close(a.done)
	a.work.Wait()
}

// keepAutomatic keeps a test that was made by itself. It never lifts a failure:
// that takes a person who has looked.
func (b *proofBook) keepAutomatic(p record.Proof) {
	ctx := context.Background()
	if p.Result == record.ProofPass {
		book, err := b.Proofs(ctx)
		if err != nil {
			b.log.Error("a proof test was not kept", "test", p.Test, "err", err)
			return
		}
		for i := range book.Tests {
			if s := &book.Tests[i]; s.ID == p.Test && s.State == record.ProofFailed {
				b.log.Info("a proof test that stands failed has passed by itself: a person is to repeat it", "test", p.Test)
				return
			}
		}
	}
	p.When, p.MachineHash, p.Version = b.now(), b.machineHash, b.version
	if _, err := b.save(ctx, p); err != nil {
		b.log.Error("a proof test was not kept", "test", p.Test, "err", err)
		return
	}
	b.log.Info("proof test", "test", p.Test, "result", p.Result, "seen", p.Seen)
}

package main

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"drumwright/control"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety/proof"
)

// proofStore keeps proof tests; the journal does.
type proofStore interface {
	SaveProof(record.Proof) (record.Proof, error)
	Proofs(context.Context) ([]record.Proof, error)
}

// proofBook brings together the proof tests of a machine, what was kept of them
// and the date, and holds up new roasts by it. Any goroutine may use it.
type proofBook struct {
	tests       []record.ProofTest
	store       proofStore
	machineHash string
	version     string
	lacks       func(context.Context) string // what commissioning still asks for; nil = nothing
	requireAll  bool                         // tests that were never done hold up roasts too
	now         func() time.Time
	log         *slog.Logger

	mu    sync.Mutex
	until time.Time // warming for proof tests is let through until then
	bar   atomic.Pointer[control.Bar]
}

func newProofBook(ctx context.Context, m *profiles.Machine, store proofStore, log *slog.Logger) *proofBook {
	b := &proofBook{tests: proof.Tests(m), store: store, machineHash: m.Hash, version: versionText(), requireAll: m.Proofs.RequireAll, now: time.Now, log: log}
	b.bar.Store(&control.Bar{})
	b.look(ctx)
	return b
}

// ask has beans kept out while lacks names something.
func (b *proofBook) ask(ctx context.Context, lacks func(context.Context) string) {
	b.lacks = lacks
	b.look(ctx)
}

// Proofs gives every test with where it stands, and every record.
func (b *proofBook) Proofs(ctx context.Context) (record.ProofBook, error) {
	all, err := b.store.Proofs(ctx)
	if err != nil {
		return record.ProofBook{}, err
	}
	book := record.ProofBook{Tests: proof.Due(b.tests, all, b.now())}
	book.Blocking = proof.Blocks(book.Tests, b.requireAll)
	slices.Reverse(all)
	book.Records = all
	return book, nil
}

// Prove keeps one test. What it should have shown, the limit, the date and the
// machine are the daemon's to say, not the sender's.
func (b *proofBook) Prove(ctx context.Context, p record.Proof) (record.Proof, error) {
	t, ok := proof.Find(b.tests, p.Test)
	switch {
	case !ok:
		return record.Proof{}, fmt.Errorf("%w: there is no proof test %q", record.ErrProof, p.Test)
	case len(t.Lacking) > 0:
		return record.Proof{}, fmt.Errorf("%w: %s is not possible on this machine for want of %s", record.ErrProof, t.ID, strings.Join(t.Lacking, " and "))
	case p.Result == record.ProofPass && p.MeasuredS.Known() && t.LimitS.Known() && p.MeasuredS > t.LimitS+1e-6:
		return record.Proof{}, fmt.Errorf("%w: %s took %.2f s where %.2f s is the limit: that is no pass", record.ErrProof, t.ID, float64(p.MeasuredS), float64(t.LimitS))
	case t.Kind == record.ProofCertificate && p.Note == "":
		return record.Proof{}, fmt.Errorf("%w: %s needs the number and date of the report in the note", record.ErrProof, t.ID)
	}
	return b.save(ctx, record.Proof{Test: p.Test, Who: p.Who, Seen: p.Seen, MeasuredS: p.MeasuredS, Result: p.Result, Note: p.Note,
		When: b.now(), Expected: t.Expected, LimitS: t.LimitS, MachineHash: b.machineHash, Version: b.version})
}

// save keeps a record and sees what follows from it.
func (b *proofBook) save(ctx context.Context, p record.Proof) (record.Proof, error) {
	kept, err := b.store.SaveProof(p)
	if err == nil {
		b.look(context.WithoutCancel(ctx))
	}
	return kept, err
}

// provingTime is how long warming for proof tests is let through at a time.
const provingTime = time.Hour

// BeginProving lets the machine be warmed for proof tests.
func (b *proofBook) BeginProving(who string) time.Time {
	b.mu.Lock()
	until := b.now().Add(provingTime)
	b.until = until
	b.mu.Unlock()
	b.log.Info("warming is let through for proof tests", "who", who, "until", until)
	b.look(context.Background())
	return until
}

// look sees anew what stands in the way of a new roast.
func (b *proofBook) look(ctx context.Context) {
	why := ""
	book, err := b.Proofs(ctx)
	switch {
	case err != nil:
		why = "the proof tests cannot be read, so nobody knows whether one is overdue: " + err.Error()
	case len(book.Blocking) > 0:
		why = strings.Join(book.Blocking, "; ") + ". Run: drumwright prove"
	}
	bar := &control.Bar{Warm: why, Charge: why}
	if b.lacks != nil { // the machine may be warmed to measure what is lacking
		if lacks := b.lacks(ctx); lacks != "" && why == "" {
			why = lacks
			bar.Charge = why
		}
	}
	b.mu.Lock()
	if b.now().Before(b.until) {
		bar.Warm = ""
	}
	was := b.bar.Swap(bar)
	b.mu.Unlock()
	switch {
	case why != "" && was.Charge != why:
		b.log.Warn("no new roast", "why", why)
	case why == "" && was.Charge != "":
		b.log.Info("nothing holds up new roasts any more")
	}
}

// Bar is what stands in the way of a new roast now. It does not block.
func (b *proofBook) Bar() control.Bar { return *b.bar.Load() }

// lookEvery is how often the date is looked at.
const lookEvery = time.Minute

// watch keeps looking until ctx ends: days pass while a daemon runs.
func (b *proofBook) watch(ctx context.Context) { every(ctx, lookEvery, func() { b.look(ctx) }) }

// every does something at each tick until ctx ends.
func every(ctx context.Context, d time.Duration, do func()) {
	tick := time.NewTicker(d)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			do()
		}
	}
}

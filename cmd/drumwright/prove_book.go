package main

import (
	"context"
	"fmt"
	"log/slog"
	"slices"
	"strings"
	"sync"
	"time"

	"drumwright/io/panel"
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
// and the date. Any goroutine may use it.
type proofBook struct {
	tests       []record.ProofTest
	store       proofStore
	machineHash string
	version     string
	requireAll  bool // tests that were never done hold up roasts too
	now         func() time.Time
	log         *slog.Logger

	mu    sync.Mutex
	until time.Time // warming for proof tests is let through until then
}

func newProofBook(m *profiles.Machine, store proofStore, requireAll bool, log *slog.Logger) *proofBook {
	return &proofBook{tests: proof.Tests(m), store: store, machineHash: m.Hash, version: versionText(), requireAll: requireAll, now: time.Now, log: log}
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
func (b *proofBook) Prove(_ context.Context, p record.Proof) (record.Proof, error) {
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
	return b.store.SaveProof(record.Proof{Test: p.Test, Who: p.Who, Seen: p.Seen, MeasuredS: p.MeasuredS, Result: p.Result, Note: p.Note,
		When: b.now(), Expected: t.Expected, LimitS: t.LimitS, MachineHash: b.machineHash, Version: b.version})
}

// provingTime is how long warming for proof tests is let through at a time.
const provingTime = time.Hour

// BeginProving lets the machine be warmed for proof tests.
func (b *proofBook) BeginProving(who string) time.Time {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.until = b.now().Add(provingTime)
	b.log.Info("warming is let through for proof tests", "who", who, "until", b.until)
	return b.until
}

// refusal says why the machine may not be warmed for a roast now, "" if it may.
func (b *proofBook) refusal(ctx context.Context) string {
	b.mu.Lock()
	proving := b.now().Before(b.until)
	b.mu.Unlock()
	if proving {
		return ""
	}
	book, err := b.Proofs(ctx)
	if err != nil {
		return "the proof tests cannot be read, so nobody knows whether one is overdue: " + err.Error()
	}
	if len(book.Blocking) == 0 {
		return ""
	}
	return strings.Join(book.Blocking, "; ") + ". Run: drumwright prove"
}

// proofGuard is the operator's way to the machine with overdue proof tests in
// it: they refuse the start of a roasting day and of the next batch. What runs
// already is never broken off for them.
type proofGuard struct {
	panel.Operator
	book *proofBook
}

// Do hands a command on unless a proof test stands in its way.
func (g proofGuard) Do(ctx context.Context, c record.Command) record.Answer {
	if c.Kind == record.StartWarming || c.Kind == record.NextBatch {
		if why := g.book.refusal(ctx); why != "" {
			return record.Answer{Reason: why}
		}
	}
	return g.Operator.Do(ctx, c)
}

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"drumwright/io/record"
	"drumwright/safety/proof"
)

// prover leads a person through proof tests on a terminal.
type prover struct {
	terminal
	d      *localAPI
	o      *proveOptions
	failed []string
	done   int
}

func newProver(d *localAPI, o *proveOptions, in io.Reader, out io.Writer) *prover {
	return &prover{terminal: newTerminal(in, out), d: d, o: o}
}

// idle asks for the last scan and refuses it while a batch is in progress.
func (p *prover) idle(ctx context.Context) (*record.Scan, error) {
	s, err := p.d.scan(ctx)
	if err != nil {
		return nil, err
	}
	busy := s.Batch.ID != 0
	switch s.State {
	case "charging", "roasting", "discharging", "cooling":
		busy = true
	}
	if busy {
		return nil, fmt.Errorf("a batch is in progress (%s): proof tests are made with an empty drum and nothing in the tray", s.State)
	}
	return s, nil
}

func (p *prover) run(ctx context.Context, ids []string) error {
	for _, c := range proof.Cautions() {
		p.say("%s", wrapped("! ", c))
	}
	if _, err := p.idle(ctx); err != nil {
		return err
	}
	var book record.ProofBook
	if err := p.d.get(ctx, "/api/v1/proofs", &book); err != nil {
		return err
	}
	todo, err := p.choose(&book, ids)
	if err != nil || len(todo) == 0 {
		return err
	}
	var until struct{ Until time.Time }
	if err := p.d.post(ctx, "/api/v1/proofs/begin", map[string]string{"who": p.o.who}, &until); err != nil {
		return err
	}
	for i, s := range todo {
		p.say("\n%d of %d: %s (%s), %s", i+1, len(todo), s.Title, s.ID, s.State)
		switch err := p.test(ctx, &s.ProofTest); {
		case errors.Is(err, errEnough):
			return p.end()
		case errors.Is(err, errSkipped):
			p.say("Skipped; nothing is kept.")
		case err != nil:
			return fmt.Errorf("proof test %s: %w", s.ID, err)
		}
	}
	return p.end()
}

func (p *prover) end() error {
	p.say("\n%d proof tests kept, %d failed.", p.done, len(p.failed))
	if len(p.failed) > 0 {
		return exitError{codeFailed, fmt.Errorf("failed: %s; do not roast before that is put right and proven", strings.Join(p.failed, ", "))}
	}
	return nil
}

// choose picks the named tests, or those that are due.
func (p *prover) choose(book *record.ProofBook, ids []string) ([]record.ProofStanding, error) {
	all := make([]record.ProofTest, len(book.Tests))
	for i := range book.Tests {
		all[i] = book.Tests[i].ProofTest
	}
	if _, err := chosenTests(all, ids); err != nil {
		return nil, err
	}
	var todo []record.ProofStanding
	for _, s := range book.Tests {
		named := slices.Contains(ids, s.ID)
		switch {
		case named && len(s.Lacking) > 0:
			return nil, exitError{codeInput, fmt.Errorf("%s is not possible on this machine for want of %s", s.ID, strings.Join(s.Lacking, " and "))}
		case named, len(ids) == 0 && s.State != record.ProofOK && s.State != record.ProofImpossible:
			todo = append(todo, s)
		}
	}
	if len(todo) == 0 {
		p.say("\nNothing is due.")
	}
	return todo, nil
}

// test leads through one test and keeps the result.
func (p *prover) test(ctx context.Context, t *record.ProofTest) error {
	for _, c := range t.Cautions {
		p.say("%s", wrapped("  ! ", c))
	}
	for i, s := range t.Steps {
		p.say("%s", wrapped(fmt.Sprintf("  %d. ", i+1), s))
	}
	p.say("%s", wrapped("  ", "Expected: "+t.Expected+"."))
	found := proof.Finding{MeasuredS: record.Unknown, Pass: true, Seen: "judged by the person"}
	if t.Kind == record.ProofTrip || t.Kind == record.ProofWatch {
		var err error
		if found, err = p.measured(ctx, t); err != nil {
			return err
		}
	} else if a, err := p.ask(ctx, "Enter when you have done it, s to skip:", "", "s"); err != nil {
		return err
	} else if a == "s" {
		return errSkipped
	}
	a, err := p.ask(ctx, wrapped("", t.Confirm)+"\nIs that so? y or n:", "y", "n")
	if err != nil {
		return err
	}
	if a == "n" {
		found.Pass = false
		found.Seen += "; not confirmed by the person"
	}
	prompt := "Note, or Enter for none:"
	if t.Kind == record.ProofCertificate {
		prompt = "Number and date of the report:"
	}
	note, err := p.ask(ctx, prompt)
	if err != nil {
		return err
	}
	return p.keep(ctx, t, &found, printable(note))
}

// printable makes a note that the daemon takes: nothing but printable signs, and
// no longer than it may be.
func printable(note string) string {
	note = strings.Map(func(r rune) rune {
		if !unicode.IsPrint(r) {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(note, " "))
	for i := range note {
		if i > longestNote-utf8.UTFMax {
			return note[:i]
		}
	}
	return note
}

// longestNote is what the API takes, in bytes.
const longestNote = 1000

func (p *prover) keep(ctx context.Context, t *record.ProofTest, f *proof.Finding, note string) error {
	result := record.ProofPass
	if !f.Pass {
		result = record.ProofFail
	}
	var kept record.Proof
	err := p.d.post(ctx, "/api/v1/proofs", map[string]any{"test": t.ID, "who": p.o.who, "seen": f.Seen, "measured_s": f.MeasuredS,
		"result": result, "note": note}, &kept)
	if err != nil {
		return err
	}
	p.done++
	if !f.Pass {
		p.failed = append(p.failed, t.ID)
	}
	p.say("Kept as number %d: %s, %s.", kept.N, t.ID, strings.ToUpper(result))
	return nil
}

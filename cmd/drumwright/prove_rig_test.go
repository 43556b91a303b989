package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/fieldbus"
	"drumwright/io/journal"
	"drumwright/io/panel"
	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/profiles"
)

// shop is a simulated machine with everything of the daemon that prove speaks
// to. Its time goes on by one scan in every pace, whatever the computer's load.
type shop struct {
	t       *testing.T
	m       *profiles.Machine
	server  *registers.Server
	runner  *control.Runner
	keep    *journal.Sink
	book    *proofBook
	auto    *automaticProofs
	address string
	pace    *time.Ticker
}

// Next is the machine's clock.
func (s *shop) Next(ctx context.Context) (control.Slot, error) {
	select {
	case <-ctx.Done():
		return control.Slot{}, ctx.Err()
	case <-s.pace.C:
	}
	if err := s.server.Advance(float64(s.m.Scan.PeriodS)); err != nil {
		return control.Slot{}, err
	}
	by := time.Now().Add(5 * time.Second)
	return control.Slot{ReadBy: by, DoneBy: by}, nil
}

func openShop(t *testing.T) *shop {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	m, err := machineFrom("heron-1000")
	must(err)
	machine, err := plant.New(registers.ParamsFor(m), 1)
	must(err)
	s := &shop{t: t, m: m, pace: time.NewTicker(5 * time.Millisecond)}
	s.server, err = registers.New(m, machine)
	must(err)
	must(s.server.Listen(true))
	t.Cleanup(s.server.Close)
	field, err := fieldbus.New(m, slog.New(slog.DiscardHandler))
	must(err)
	core, err := control.New(m, control.Restored{})
	must(err)
	s.keep, err = journal.Open(filepath.Join(t.TempDir(), "journal.db"), journal.Config{})
	must(err)
	s.runner = control.NewRunner(field, s, core)
	s.runner.Recipes = func(name string) (*profiles.Recipe, error) { return recipeFrom(name) }
	s.book = newProofBook(context.Background(), m, s.keep, slog.New(slog.DiscardHandler))
	s.runner.Bars = s.book.Bar
	api := panel.New(panel.Config{Operator: s.runner, Proofs: s.book})
	s.auto = newAutomaticProofs(s.book)
	s.runner.Sinks = []control.Sink{api, s.auto}
	l, err := panel.Listen("127.0.0.1:0")
	must(err)
	s.address = l.Addr().String()
	ctx, cancel := context.WithCancel(context.Background())
	var work sync.WaitGroup
	work.Go(func() {
		if err := s.runner.Run(ctx); err != nil {
			t.Error(err)
		}
	})
	work.Go(func() {
		if err := api.Serve(ctx, l); err != nil {
			t.Error(err)
		}
	})
	t.Cleanup(func() {
		cancel()
		work.Wait()
		s.auto.close()
		s.pace.Stop()
		if err := errors.Join(field.Close(), s.keep.Close()); err != nil {
			t.Error(err)
		}
	})
	peertest.Eventually(t, 10*time.Second, "the first scan", func() bool { _, err := s.api().scan(ctx); return err == nil })
	return s
}

func (s *shop) api() *localAPI {
	d, err := dialDaemon(s.address)
	if err != nil {
		s.t.Fatal(err)
	}
	return d
}

func (s *shop) fault(name string, on bool) {
	s.server.With(func(m *plant.Machine) {
		if on {
			_ = m.Inject(name)
		} else {
			_ = m.Clear(name)
		}
	})
}

// warm starts the machine as a person at its panel does, and waits for heat.
func (s *shop) warm() error {
	ctx, cancel := context.WithTimeout(context.Background(), 30*time.Second)
	defer cancel()
	d := s.api()
	var a record.Answer
	if err := d.post(ctx, "/api/v1/commands", map[string]any{"kind": "load-recipe", "recipe": "harbour-medium"}, &a); err != nil {
		return err
	}
	if err := d.order(ctx, record.Command{Kind: record.StartWarming}, "Ada"); err != nil {
		return err
	}
	for tick := time.NewTicker(10 * time.Millisecond); ; <-tick.C {
		sc, err := d.scan(ctx)
		if err != nil {
			return err
		}
		if sc.Safety.HeatPermitted {
			return nil
		}
	}
}

// actor is the person: it reads what is printed, acts and answers.
type actor struct {
	mu   sync.Mutex
	text bytes.Buffer
	act  func(line string) string // the answer to a prompt
	to   io.Writer
}

// Write takes one thing that is said; a prompt ends with a blank.
func (a *actor) Write(b []byte) (int, error) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.text.Write(b)
	answer := a.act(string(b))
	if strings.HasSuffix(string(b), ": ") {
		a.text.WriteString(answer + "\n")
		if _, err := fmt.Fprintln(a.to, answer); err != nil {
			return 0, err
		}
	}
	return len(b), nil
}

package main

import (
	"context"
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/cmd/drumwright/internal/wiring"
	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/profiles"
)

// A fresh machine keeps beans out, but may be warmed, until the minimum has been
// measured; each record lifts its own item, and a simulated one none.
func TestBeansAreRefusedUntilCommissioned(t *testing.T) {
	path := shopFile(t)
	m, err := machineFrom(path)
	if err != nil {
		t.Fatal(err)
	}
	db := filepath.Join(t.TempDir(), "j.db")
	keep, err := journal.Open(db, journal.Config{})
	if err != nil {
		t.Fatal(err)
	}
	defer keep.Close()
	ctx := context.Background()
	book := newProofBook(ctx, m, keep, slog.New(slog.DiscardHandler))
	if book.Bar().Charge != "" {
		t.Fatalf("barred before commissioning is asked for: %s", book.Bar().Charge)
	}
	book.ask(ctx, uncommissioned(m, keep))
	if b := book.Bar(); b.Warm != "" || !strings.Contains(b.Charge, "wiring (guessed), bean (guessed)") {
		t.Fatalf("bar of a fresh machine: %+v", b)
	}
	add := func(kind, item, result, wired string, simulated bool) {
		t.Helper()
		if err := journal.AddCommissioned(db, []record.Commissioned{{Kind: kind, Item: item, Who: "Ada", When: time.Now(), Value: record.Unknown, Uncertainty: record.Unknown,
			Result: result, Wiring: wired, Body: "{}", ValidDays: 30, Simulated: simulated}}); err != nil {
			t.Fatal(err)
		}
		book.look(ctx)
	}
	hash := wiring.Hash(m)
	for _, c := range []struct {
		kind, item, result, wired string
		simulated                 bool
		lacks                     string // begins with
	}{
		{record.KindWiring, "", "pass", hash, true, "wiring (guessed)"},
		{record.KindWiring, "", "fail", hash, false, "wiring (failed)"},
		{record.KindWiring, "", "pass", "other wires", false, "wiring (changed since)"},
		{record.KindWiring, "", "pass", hash, false, "bean (guessed)"},
		{record.KindCalibration, "bean", "pass", hash, false, "inlet_air (guessed)"},
		{record.KindCalibration, "inlet_air", "pass", hash, false, "drum_skin (guessed)"},
		{record.KindCalibration, "drum_skin", "pass", hash, false, "drum (guessed)"},
		{record.KindCalibration, "drum", "pass", hash, false, "flow (guessed)"},
		{record.KindCalibration, "flow", "pass", hash, false, ""},
	} {
		add(c.kind, c.item, c.result, c.wired, c.simulated)
		got := book.Bar()
		want := "commissioning is not done: " + c.lacks
		if got.Warm != "" || c.lacks == "" && got.Charge != "" || c.lacks != "" && !strings.HasPrefix(got.Charge, want) {
			t.Errorf("after %s %s %s: %+v, want %q", c.kind, c.item, c.result, got, want)
		}
	}
	kept, err := keep.Commissioned(ctx)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range commissionState(m, kept, time.Now().AddDate(0, 0, 31)) {
		if x.needed && x.state != itemOverdue {
			t.Errorf("a month later %s is %s, want overdue", x.name, x.state)
		}
	}
}

// Calibration changes neither the wiring's hash nor its record; another address
// does.
func TestCalibratingLeavesTheWiringAsWalked(t *testing.T) {
	path := shopFile(t)
	before, err := machineFrom(path)
	if err != nil {
		t.Fatal(err)
	}
	if code, text := runText("calibrate", path, "bean", "--who", "Ada", "--ice", "0.8", "--write", "--yes"); code != codeOK {
		t.Fatal(text)
	}
	after, err := machineFrom(path)
	if err != nil {
		t.Fatal(err)
	}
	if after.Hash == before.Hash || wiring.Hash(after) != wiring.Hash(before) {
		t.Error("the file is the same, or its wiring another")
	}
	after.In[0].Address++
	if wiring.Hash(after) == wiring.Hash(before) {
		t.Error("another address is the same wiring")
	}
}

func TestBench(t *testing.T) {
	m := &profiles.Machine{}
	if got := benchOf(m, false); got != "" {
		t.Errorf("a machine without a word is a bench: %s", got)
	}
	m.Commissioning.Bench = &profiles.Bench{Who: "Ada", Why: "no heaters"}
	if got := benchOf(m, false); !strings.Contains(got, "Ada") || !strings.Contains(got, "no heaters") {
		t.Errorf("bench: %q", got)
	}
	m.Commissioning.Bench, m.Simulation.TimeScale = nil, 10
	if benchOf(m, false) == "" {
		t.Error("a machine that runs faster than life is asked for commissioning")
	}
}

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
		c := foundAsTold(t, m, kind, item)
		c.When, c.Result, c.Wiring, c.ValidDays, c.Simulated = time.Now(), result, wired, 30, simulated
		if err := journal.AddCommissioned(db, []record.Commissioned{c}); err != nil {
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
	// They count for 30 days, and 30 more of grace; then beans are kept out again,
	// until they are made anew, or a named person puts them off for some days.
	kept, err := keep.Commissioned(ctx)
	if err != nil {
		t.Fatal(err)
	}
	state := func(days int) (want map[string]int) {
		want = map[string]int{}
		items := commissionState(m, kept, false, time.Now().AddDate(0, 0, days))
		for i := range items {
			if items[i].kind == record.KindCalibration && items[i].needed {
				want[items[i].state]++
			}
		}
		want["lacking"] = strings.Count(commissionLacks(items), "(")
		return want
	}
	for _, c := range []struct {
		days    int
		state   string
		lacking int
	}{{0, itemMeasured, 0}, {31, itemDue, 0}, {59, itemDue, 0}, {61, itemOverdue, 5}} {
		got := state(c.days)
		// The wiring's record counts for 30 days in this test as well.
		if lacking := min(c.lacking, 5); got[c.state] != 5 || got["lacking"] < lacking || c.lacking == 0 && got["lacking"] > 0 {
			t.Errorf("after %d days: %v, want 5 × %s", c.days, got, c.state)
		}
	}
	off := record.Commissioned{Kind: record.KindPutOff, Item: "bean", Who: "Ada", When: time.Now().AddDate(0, 0, 60), Method: "kettle on order", ValidDays: 14, Result: record.ProofPass}
	kept = append(kept, off)
	if got := state(61); got[itemPutOff] != 1 || got[itemOverdue] != 4 {
		t.Errorf("put off: %v", got)
	}
	if got := state(75); got[itemPutOff] != 0 || got[itemOverdue] != 5 {
		t.Errorf("put off and over: %v", got)
	}
	// A clock that once ran ahead makes nothing good for ever.
	off.When = time.Now().AddDate(50, 0, 0)
	kept = append(kept, off)
	if got := state(75); got[itemPutOff] != 0 || got[itemOverdue] != 5 {
		t.Errorf("put off by a clock that ran ahead: %v", got)
	}
	for i := range kept {
		kept[i].When = time.Now().AddDate(50, 0, 0)
	}
	if got := state(0); got[itemMeasured] != 0 || got[itemDue] != 5 || got["lacking"] != 0 {
		t.Errorf("all is dated after today: %v", got)
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
	if code, text := runText("calibrate", path, "bean", "--who", "Ada", "--ice", "0.8", "--accept"); code != codeOK {
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
	for word, want := range map[string]string{"": "", "Ada: no heaters": "Ada answers for it: no heaters"} {
		if got, err := benchOf(word, false); got != want || err != nil {
			t.Errorf("%q: %q, %v", word, got, err)
		}
	}
	for _, word := range []string{"Ada", "Ada: ", ": because"} {
		if got, err := benchOf(word, false); err == nil {
			t.Errorf("%q is taken: %q", word, got)
		}
	}
	if got, err := benchOf("", true); got == "" || err != nil {
		t.Error("a machine simulated in the same program is asked for commissioning")
	}
}

// A board that has lost its time brings no exception back that has ended.
func TestClockBehindTheJournalHasNoToday(t *testing.T) {
	path := filepath.Join(t.TempDir(), "drumwright.db")
	keep, _ := reopen(t, path)
	latest, err := keep.Latest(context.Background())
	now := time.Now()
	if err != nil || latest.Before(now.Add(-time.Minute)) || latest.After(now.Add(time.Minute)) {
		t.Fatalf("latest %v, %v: a start is kept", latest, err)
	}
	for _, c := range []struct {
		now   time.Time
		known bool
	}{{now, true}, {latest.Add(-clockSkew / 2), true}, {latest.AddDate(0, 0, -1), false}, {time.Unix(0, 0), false}} {
		want := ""
		if c.known {
			want = c.now.Format(time.DateOnly)
		}
		if date, leftS := today(c.now, latest); date != want || leftS < 0 || leftS > 25*3600 {
			t.Errorf("at %v with %v kept: today is %q for %.0f s, want %q", c.now, latest, date, leftS, want)
		}
	}
}

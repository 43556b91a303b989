package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/drum"
	"drumwright/control/plant/registers"
	"drumwright/control/probe"
	"drumwright/io/journal"
	"drumwright/io/peertest"
	"drumwright/profiles"
)

func TestProbeCommand(t *testing.T) {
	svg := filepath.Join(t.TempDir(), "probe.svg")
	code, out, errs := drumwright(t, "probe", "heron-1000", "--json", "--svg", svg, "--with", "sheath=2.5")
	if code != codeOK {
		t.Fatalf("code %d: %s", code, errs)
	}
	var got struct{ Placement drum.Placement }
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	p := &got.Placement
	// The rules of placing: a bean over the tip in the thinned bed, a bean and more
	// from the wall, on the wall's side of the eye.
	if !p.Possible || p.Best.WallMM < drum.WallClearMM || p.CoverThinMM.Value < drum.CoverMM || p.FromEyeMM.Value < 0 || p.Given.DiameterMM != 2.5 {
		t.Errorf("%+v", p)
	}
	code, out, errs = drumwright(t, "probe", "heron-1000", "--with", "batch=200")
	if code != codeOK || !strings.Contains(out, "NOT safely covered") || !strings.Contains(out, "When the face is back on") {
		t.Errorf("code %d: %s%s", code, out, errs)
	}
	if code, _, errs := drumwright(t, "probe", "heron-1000", "--with", "sheath=20"); code != codeInput || !strings.Contains(errs, "sheath diameter") {
		t.Errorf("code %d: %s", code, errs)
	}
}

// The lag of the simulated probe comes out within 10 percent through the whole
// chain: controller, gate, frames, samples once a second.
func TestProbeWarmTest(t *testing.T) {
	peertest.OnceIsEnough(t)
	code, out, errs := drumwright(t, "probe", "heron-1000", "--simulate", "--seed", "3", "--json")
	if code != codeOK {
		t.Fatalf("code %d: %s", code, errs)
	}
	var got struct {
		WarmTest probe.Result `json:"warm_test"`
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	off := registers.Drawn(3)
	trueS := 30 * (1 + off.ProbeLagFrac) // the file says 30 s
	if r := &got.WarmTest; math.Abs(r.LagS.Value/trueS-1) > 0.1 || math.Abs(r.BedShare.Value-(0.9-off.GasShareAdd)) > 0.05 {
		t.Errorf("lag %+v of %g s, bed share %+v of %g", r.LagS, trueS, r.BedShare, 0.9-off.GasShareAdd)
	}
	for _, c := range []struct {
		args []string
		code int
		want string
	}{
		{[]string{"--simulate"}, codeInput, "needs MACHINE"},
		{[]string{"heron-1000", "--simulate", "--journal", "x.db"}, codeInput, "either --journal or --simulate"},
		{[]string{"heron-1000", "--journal", filepath.Join(t.TempDir(), "none.db")}, codeFailed, "none.db"},
	} {
		if code, _, errs := drumwright(t, append([]string{"probe"}, c.args...)...); code != c.code || !strings.Contains(errs, c.want) {
			t.Errorf("%v: code %d, %q", c.args, code, errs)
		}
	}
}

// The same from a journal, as a shop does it.
func TestProbeWarmTestFromJournal(t *testing.T) {
	peertest.OnceIsEnough(t)
	m, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	recipe, err := warmingRecipe("", m)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "journal.db")
	keep, err := journal.Open(path, journal.Config{})
	if err != nil {
		t.Fatal(err)
	}
	text, _ := profiles.Example("recipes/" + filepath.Base(recipe.File))
	keep.KeepText(string(text))
	count := &everySecond{}
	_, err = rehearsal.Run(t.Context(), rehearsal.Plan{Machine: m, Recipe: recipe, Seed: 1, Batches: 1, Warm: true, Sinks: []control.Sink{keep, count},
		Beside: func(*rehearsal.Moment) bool { return len(count.list) > 245 }})
	if err = errors.Join(err, keep.Close()); err != nil {
		t.Fatal(err)
	}
	code, out, errs := drumwright(t, "probe", "heron-1000", "--journal", path)
	if code != codeOK || !strings.Contains(out, "batch 1 of "+path) {
		t.Fatalf("code %d: %s%s", code, out, errs)
	}
	var lagS float64
	if _, after, ok := strings.Cut(out, "lag in the bed"); !ok {
		t.Fatal(out)
	} else if _, err := fmt.Sscan(after, &lagS); err != nil || math.Abs(lagS/30-1) > 0.1 {
		t.Errorf("lag %g s, is 30: %v\n%s", lagS, err, out)
	}
}

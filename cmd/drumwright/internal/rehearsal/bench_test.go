package rehearsal

import (
	"context"
	"slices"
	"strings"
	"testing"

	"drumwright/io/peertest"
	"drumwright/safety/proof"
)

func onBench(t *testing.T, machine, id string, broken ...string) *BenchResult {
	t.Helper()
	recipe := "harbour-medium.yaml"
	if machine == "lark-300.yaml" {
		recipe = "window-stages.yaml"
	}
	m, r := load(t, machine, recipe)
	p, ok := proof.Find(proof.Tests(m), id)
	if !ok {
		t.Fatalf("no test %s", id)
	}
	res, err := Prove(context.Background(), BenchPlan{Machine: m, Recipe: r, Test: *p, Seed: 1, Broken: broken})
	if err != nil {
		t.Fatal(err)
	}
	return res
}

// Every test that can be shown is in the list.
func TestBenchedAreListed(t *testing.T) {
	m, _ := load(t, "heron-1000.yaml", "harbour-medium.yaml")
	for _, id := range Benched() {
		if _, ok := proof.Find(proof.Tests(m), id); !ok {
			t.Errorf("%s is not in the list", id)
		}
	}
}

// The reset of a suspected fire is held for a quarter of an hour, and then taken.
func TestFireButtonOnTheBench(t *testing.T) {
	peertest.OnceIsEnough(t)
	if r := onBench(t, "heron-1000.yaml", "fire-button"); !r.Pass || !strings.Contains(r.Seen, "no heat after the reset") {
		t.Errorf("%+v", *r)
	}
}

// The reaction is that of the interlock's own delay (limits of the machine file)
// plus at most two scans.
func TestBenchMeasures(t *testing.T) {
	peertest.OnceIsEnough(t)
	for i, c := range []struct {
		machine, id  string
		leastS, most float64
	}{
		{"heron-1000.yaml", "emergency-stop", 0, 0.2},
		{"heron-1000.yaml", "drum-stall", 2.7, 3.2}, // the last pulse came up to 0.3 s before
		{"heron-1000.yaml", "air-proof", 0.4, 0.7},
		{"heron-1000.yaml", "heartbeat", 1.0, 1.7},
		{"lark-300.yaml", "cover", 1.0, 1.4},
	} {
		if peertest.Spare(i, 4) {
			continue
		}
		t.Run(c.machine+" "+c.id, func(t *testing.T) {
			r := onBench(t, c.machine, c.id)
			if !r.Pass || !(float64(r.MeasuredS) >= c.leastS-1e-9 && float64(r.MeasuredS) <= c.most+1e-9) || !strings.Contains(r.Seen, "no heat after the reset") {
				t.Errorf("%+v, want a pass within %.1f to %.1f s", *r, c.leastS, c.most)
			}
		})
	}
}

// On a machine that is broken in the very thing, the test fails.
func TestBenchFindsWhatIsBroken(t *testing.T) {
	for _, c := range []struct{ id, broken, want string }{
		{"air-switch-opens", "proving_stuck_closed", "does not read off"},
		{"heater-leak", "radiant_stuck_on", "trip radiant_"},
		{"contactor", "contactor_welded", "contactor_stuck"},
		{"emergency-stop", "contactor_welded", "contactor"},
		{"drum-stall", "cover_open", "heat did not come on"},
	} {
		t.Run(c.id+" with "+c.broken, func(t *testing.T) {
			if r := onBench(t, "heron-1000.yaml", c.id, c.broken); r.Pass || !strings.Contains(r.Seen, c.want) {
				t.Errorf("%+v, want a fail for %q", *r, c.want)
			}
		})
	}
}

func TestBenchRefusesWhatItCannotShow(t *testing.T) {
	m, r := load(t, "heron-1000.yaml", "harbour-medium.yaml")
	p, _ := proof.Find(proof.Tests(m), "electrical")
	if _, err := Prove(context.Background(), BenchPlan{Machine: m, Recipe: r, Test: *p, Seed: 1}); err == nil || slices.Contains(Benched(), p.ID) {
		t.Errorf("%v", err)
	}
}

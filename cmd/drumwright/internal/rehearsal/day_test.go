package rehearsal

import (
	"context"
	"math"
	"testing"

	"drumwright/control/plant/registers"
	"drumwright/io/record"
	"drumwright/profiles"
)

func load(t testing.TB, machine, recipe string) (*profiles.Machine, *profiles.Recipe) {
	t.Helper()
	data, ok := profiles.Example("machines/" + machine)
	if !ok {
		t.Fatalf("no example machine %s", machine)
	}
	m, err := profiles.ParseMachine(machine, data)
	if err != nil {
		t.Fatal(err)
	}
	data, ok = profiles.Example("recipes/" + recipe)
	if !ok {
		t.Fatalf("no example recipe %s", recipe)
	}
	r, err := profiles.ParseRecipe(recipe, data)
	if err != nil {
		t.Fatal(err)
	}
	return m, r
}

// soon makes a machine that is soon ready and soon cold.
func soon(m *profiles.Machine) {
	m.Batch.ReadyBandK, m.Batch.SoakS, m.Batch.RunDownBelow, m.Batch.RunDownHoldS = 20, 5, 150, 5
}

// A day without faults, on a machine that differs from its file: the bounds are
// those that a shop may expect (judgement, from simulated days).
func TestDay(t *testing.T) {
	t.Parallel()
	m, r := load(t, "heron-1000.yaml", "harbour-medium.yaml")
	m.Batch.RunDownBelow, m.Batch.RunDownHoldS = 150, 5 // the long run-down proves nothing
	res, err := Run(context.Background(), Plan{Machine: m, Recipe: r, Seed: 1, Batches: 1, Warm: true, Mismatch: registers.Drawn(1),
		Tell: func(s *record.Scan, e record.Event) {
			t.Logf("%8.1f %-12s %-10s %-14s %s", s.ScanS, s.State, e.Kind, e.Name, e.Text)
		}})
	if res != nil {
		t.Logf("%+v", *res)
	}
	if err != nil {
		t.Fatal(err)
	}
	if len(res.Batches) != 1 || len(res.Trips) != 0 || res.FinalState != "cold" || res.Overruns != 0 {
		t.Fatalf("%+v", *res)
	}
	for _, b := range res.Batches {
		if b.Aborted || b.TurningPointS == 0 || b.FirstCrackS == 0 {
			t.Errorf("not a whole roast: %+v", b)
		}
		for _, c := range []struct {
			name       string
			got, limit float64
		}{
			{"rms of tracking, °C", b.TrackingRmsC, 0.6},
			{"worst of tracking, °C", b.TrackingMaxC, 3},
			{"drop error, °C", math.Abs(b.DropErrorC), 0.6},
			{"error of the estimated loss", math.Abs(b.LossEstimated - b.LossTrue), 0.01},
			{"rms of the estimated bean temperature, °C", b.BeanErrorRmsC, 1.5},
			{"overshoot of the inlet air, °C", b.InletOvershoot, 3},
		} {
			if !(c.got <= c.limit) {
				t.Errorf("batch %d: %s is %.3f, want at most %.3f", b.ID, c.name, c.got, c.limit)
			}
		}
	}
}

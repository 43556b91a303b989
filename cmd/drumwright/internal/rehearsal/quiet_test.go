package rehearsal

import (
	"context"
	"testing"

	"drumwright/control/plant/registers"
	"drumwright/io/peertest"
	"drumwright/io/record"
)

// A day from a cold machine to its run-down warns of nothing and trips nothing.
func TestNominalIsQuiet(t *testing.T) {
	t.Parallel()
	for i, c := range []struct{ machine, recipe string }{{"heron-1000.yaml", "harbour-medium.yaml"}, {"lark-300.yaml", "window-stages.yaml"}} {
		if peertest.Spare(i, 2) {
			continue
		}
		t.Run(c.machine, func(t *testing.T) {
			t.Parallel()
			m, r := load(t, c.machine, c.recipe)
			m.Batch.RunDownBelow, m.Batch.RunDownHoldS = 150, 5 // the long run-down proves nothing
			res, err := Run(context.Background(), Plan{Machine: m, Recipe: r, Seed: 7, Batches: 1, Mismatch: registers.Drawn(7), MaxS: 7200,
				Tell: func(s *record.Scan, e record.Event) {
					if e.Kind == record.Trip || e.Kind == record.Warning {
						t.Errorf("%8.1f %-12s since charge %.1f %s: %s", s.ScanS, s.State, s.Batch.SinceS, e.Name, e.Text)
					}
				}})
			if err != nil {
				t.Fatal(err)
			}
			if len(res.Batches) != 1 || len(res.Trips) != 0 {
				t.Errorf("%d batches, trips %+v", len(res.Batches), res.Trips)
			}
		})
	}
}

package control

import (
	"testing"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
)

// A reset in the very scan after the trip, as by somebody who presses again and
// again, does not let the sequence go on as if nothing had been.
func TestResetInTheScanAfterTheTrip(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Roasting)
	g.run(20)
	g.inject("drum_stall")
	for end := g.nowS + 10; !g.rec.Safety.Tripped; {
		if g.step(); g.nowS > end {
			t.Fatal("no trip")
		}
	}
	if a := g.local(record.ResetTrip); !a.Accepted {
		t.Fatal(a)
	}
	for range 80 {
		g.step()
		if s := g.core.State(); s != batch.Tripped && s != batch.RunDown || g.permit.Value(point.HeatEnable) > 0 {
			t.Fatalf("after a trip and its reset: %s, heat %v", s, g.permit.Value(point.HeatEnable))
		}
	}
}

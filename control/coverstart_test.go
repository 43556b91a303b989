package control

import (
	"testing"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
)

// No drum begins to turn with a cover open, whatever asked for it; shut, it is
// warned of in full first. What turns goes on: hot beans may be in it.
func TestNoDrumStartsWithACoverOpen(t *testing.T) {
	t.Parallel()
	for _, unreadable := range []bool{false, true} {
		g := newRig(t, nil).to(batch.Cold) // hot, and nothing turns
		open := true
		g.fake = func(img *point.Image) {
			if open {
				img.In[point.CoverClosed] = point.Value{Quality: point.Good}
				if unreadable {
					img.In[point.CoverClosed] = point.Value{V: 1, Quality: point.Bad, Cause: point.Timeout, AgeS: 9}
				}
			}
		}
		if a := g.local(record.Stop); !a.Accepted {
			t.Fatalf("cooling is refused: %s", a.Reason)
		}
		for range 200 {
			if g.step(); g.permit.Value(point.DrumRun) > 0 {
				t.Fatalf("unreadable %v: the drum starts in %s with a cover open", unreadable, g.core.State())
			}
		}
		if g.rec.Next != coverIsOpen {
			t.Errorf("the operator is told %q", g.rec.Next)
		}
		open = false
		horn := 0.0
		for began := g.nowS; g.permit.Value(point.DrumRun) == 0; g.step() {
			if horn += g.permit.Value(point.Horn) * float64(g.m.Scan.PeriodS); g.nowS > began+30 {
				t.Fatalf("%s: the drum never turns", g.core.State())
			}
		}
		if horn < float64(g.m.Batch.HornS)-0.15 {
			t.Errorf("the horn sounded for %.1f s, want %.1f s", horn, float64(g.m.Batch.HornS))
		}
		open = true
		if g.run(5); g.permit.Value(point.DrumRun) == 0 {
			t.Errorf("%s: a drum that turned was stopped", g.core.State())
		}
	}
}

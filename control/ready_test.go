package control

import (
	"math"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
)

// What is foreseen while a cold machine warms is held against when the simulated
// machine is ready: to a fifth, which "about" promises, and a quarter of a minute.
func TestReadyIsForeseen(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	for machine, recipe := range map[string]string{"heron-1000": "harbour-medium", "lark-300": "window-stages"} {
		m, r := read(t, machine, recipe)
		g := rigOf(t, m, r)
		g.step()
		g.load().must(record.StartWarming)
		type told struct{ atS, inS float64 }
		var all []told
		for g.core.State() == batch.Warming {
			if g.step(); g.nowS > 3000 {
				t.Fatal("never ready")
			}
			if in := g.rec.ReadyInS; in > 0 {
				all = append(all, told{g.nowS, in})
			} else if g.core.State() == batch.Warming && g.rec.NoReady == "" {
				t.Fatalf("%s: neither a time nor why there is none at %.0f s", machine, g.nowS)
			}
		}
		worst, first := 0.0, all[0].atS
		for _, x := range all {
			truth := g.nowS - x.atS
			if off := math.Abs(x.inS - truth); off > 0.2*truth+15 {
				t.Fatalf("%s: %.0f s after the start told %.0f s, it took %.0f s", machine, x.atS, x.inS, truth)
			} else {
				worst = math.Max(worst, off/truth)
			}
		}
		t.Logf("%s: ready after %.0f s, told from %.0f s on; at first off by %+.0f s", machine, g.nowS, first, all[0].inS-(g.nowS-first))
		if first > 160 {
			t.Errorf("%s: told only after %.0f s", machine, first)
		}
	}
}

// A skin that comes no nearer has no time told of it.
func TestReadyIsNotForeseenWithoutProgress(t *testing.T) {
	g := coldRig(t, nil)
	g.step()
	g.load().must(record.StartWarming)
	g.fake = func(img *point.Image) { img.In[point.DrumSkin].V = 60 + 0.5*math.Sin(g.nowS) }
	g.run(200)
	if g.core.State() == batch.Warming && (g.rec.ReadyInS != 0 || g.rec.NoReady == "") {
		t.Errorf("told %.0f s, %q", g.rec.ReadyInS, g.rec.NoReady)
	}
}

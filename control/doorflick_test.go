package control

import (
	"strings"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
)

// A door contact that flickers has emptied no drum: heat does not come back over
// beans that nobody would watch any more.
func TestFlickeringDoorEmptiesNothing(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	open := false
	flicker := func(g *rig) {
		g.fake = func(i *point.Image) {
			if open {
				i.In[point.DischargeDoorOpen].V = 1
			}
		}
		for range 10 {
			for _, open = range []bool{true, false} {
				g.run(0.5)
			}
		}
	}
	g := newRig(t, nil).to(batch.Roasting)
	g.run(300)
	flicker(g)
	g.run(60)
	if g.core.State() != batch.Discharging || g.heatW() != 0 || !g.core.roast.beansIn || !strings.HasPrefix(g.rec.Next, "The door was open too briefly") {
		t.Fatalf("%s, heat %.0f W, beans in %v, %q", g.core.State(), g.heatW(), g.core.roast.beansIn, g.rec.Next)
	}
	g.plant.Drop()
	g.until(batch.Cooling, 60)

	g = newRig(t, nil).to(batch.Roasting)
	g.run(300)
	g.must(record.Stop)
	flicker(g)
	if a := g.local(record.StartWarming); a.Accepted || !g.core.roast.beansIn {
		t.Errorf("warming over beans in the drum: %+v", a)
	}
	g.plant.Drop()
	g.run(5)
	g.must(record.StartWarming)
}

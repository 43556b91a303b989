package control

import (
	"testing"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
)

// fromAfar is a command as somebody on the network could send it, with what
// would make it most harmful.
func fromAfar(g *rig, k record.Kind) Command {
	c := Command{Command: record.Command{Kind: k, Who: "Ada", Loop: "air", Value: 1, Method: "step", LimitK: 10, SkinMMPerS: 380}}
	switch k {
	case record.LoadRecipe:
		hotter := *g.recipe
		hotter.Charge.Skin += 10
		hotter.Charge.Air += 20
		c.Loaded = &hotter
	case record.TryLoop:
		c.Value = 0.1
	}
	return c
}

// Nothing that comes over the network starts heat, drum or air, or makes more
// heat than there would be without it. A twin to which nobody speaks shows what
// there would be.
func TestNetworkNeverHeats(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	plain := func(*rig) {}
	byHand := func(g *rig) { // a heater is led by hand, at nothing
		if a := g.ask(Command{Command: record.Command{Kind: record.SetManual, Loop: "air", Local: true, Who: "Ada"}}); !a.Accepted {
			t.Fatal(a)
		}
	}
	hold := func(g *rig) { g.must(record.Hold) } // with beans in
	for _, c := range []struct {
		state batch.State
		then  func(*rig)
		first record.Kind // takes heat away, and may be said from afar
	}{
		{batch.Cold, plain, ""}, {batch.Warming, plain, ""}, {batch.Ready, byHand, ""}, {batch.Ready, plain, record.Hold},
		{batch.Roasting, plain, record.DropNow}, {batch.Roasting, hold, ""}, {batch.Roasting, hold, record.DropNow}, {batch.Discharging, plain, ""},
		{batch.Cooling, plain, ""}, {batch.RunDown, plain, ""}, {batch.Tripped, plain, ""},
	} {
		build := func() *rig {
			g := newRig(t, nil).to(c.state)
			c.then(g)
			g.run(1)
			return g
		}
		g, twin := build(), build()
		say := []record.Kind{c.first}
		for _, k := range record.Kinds {
			if k != record.DropNow && k != record.Hold && k != record.Stop {
				say = append(say, k)
			}
		}
		for _, k := range say {
			for n := range 6 {
				if n == 0 && k != "" {
					g.step(fromAfar(g, k))
				} else {
					g.step()
				}
				twin.step()
				for _, o := range [...]point.Output{point.HeatEnable, point.AirHeaterPower, point.RadiantPower, point.DrumRun, point.BlowerRun} {
					if v, w := g.permit.Value(o), twin.permit.Value(o); v > w {
						t.Fatalf("%s while %s, first %q: %s %.3f, without it %.3f", k, c.state, c.first, o, v, w)
					}
				}
			}
		}
	}
}

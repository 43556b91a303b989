package control

import (
	"testing"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
)

// Whoever turns the drum by hand has beans in it: the word to warm that reaches
// the same scan must not heat them, whichever came first.
func TestTurningAndWarmingInOneScan(t *testing.T) {
	t.Parallel()
	for _, turnFirst := range []bool{true, false} {
		g := coldRig(t, nil)
		g.run(1)
		g.load()
		low, _ := g.core.turnRange()
		cmds := []Command{
			{Command: record.Command{Kind: record.StartWarming, Local: true, Who: "Ada"}},
			{Command: record.Command{Kind: record.TurnDrum, Local: true, Who: "Ada", SkinMMPerS: low}},
		}
		if turnFirst {
			cmds[0], cmds[1] = cmds[1], cmds[0]
		}
		g.step(cmds...)
		if !cmds[0].Answer.Accepted || cmds[1].Answer.Accepted {
			t.Errorf("turn first %v: %+v, %+v", turnFirst, cmds[0].Answer, cmds[1].Answer)
		}
		for range 200 {
			g.step()
			if beans, _ := g.core.Unsettled(); beans && g.permit.Value(point.HeatEnable) > 0 {
				t.Fatalf("turn first %v: heat is on in %s with beans that may be in the drum", turnFirst, g.core.State())
			}
		}
		if beans, _ := g.core.Unsettled(); beans != turnFirst || (g.core.State() == batch.Warming) == turnFirst {
			t.Errorf("turn first %v: %s, beans %v", turnFirst, g.core.State(), beans)
		}
	}
}

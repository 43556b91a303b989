package control

import (
	"testing"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
)

// A stop that reaches the same scan as the word to warm is heeded, whichever came
// first.
func TestStopInTheScanOfWarming(t *testing.T) {
	t.Parallel()
	for _, s := range []batch.State{batch.Cold, batch.RunDown} {
		g := newRig(t, nil)
		if g.to(s); s == batch.Cold {
			g.load()
		}
		cmds := []Command{
			{Command: record.Command{Kind: record.StartWarming, Local: true, Who: "Ada"}},
			{Command: record.Command{Kind: record.Stop}},
		}
		g.step(cmds...)
		if !cmds[0].Answer.Accepted || !cmds[1].Answer.Accepted {
			t.Errorf("%s: %+v", s, cmds)
		}
		if g.run(5); g.core.State() == batch.Warming || g.permit.Value(point.HeatEnable) > 0 {
			t.Errorf("%s: stopped, and now %s", s, g.core.State())
		}
	}
}

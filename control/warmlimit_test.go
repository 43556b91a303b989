package control

import (
	"testing"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/profiles"
)

// A machine that never becomes ready is not heated for ever: forgotten, it runs
// down as one does that is ready and gets no charge.
func TestWarmingEndsWithoutReady(t *testing.T) {
	t.Parallel()
	g := newRig(t, func(m *profiles.Machine, _ *profiles.Recipe) { m.Batch.SoakS, m.Batch.IdleMaxS = 1e6, 600 }).to(batch.Warming)
	began := g.nowS
	g.run(warmUpMaxS - 5)
	if g.core.State() != batch.Warming || g.permit.Value(point.HeatEnable) == 0 {
		t.Fatalf("after %.0f s: %s", g.nowS-began, g.core.State())
	}
	g.run(10)
	if g.core.State() != batch.RunDown || g.permit.Value(point.HeatEnable) > 0 {
		t.Errorf("after %.0f s: %s, heat %v", g.nowS-began, g.core.State(), g.permit.Value(point.HeatEnable))
	}
}

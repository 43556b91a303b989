package control

import (
	"strings"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/record"
	"drumwright/profiles"
)

var barred = Bar{Warm: "the proof test cover is overdue", Charge: "the proof test cover is overdue"}

// No way to a new roast is open while something holds new roasts up, whatever
// command or sight would lead there, and heat goes off in all of them.
func TestBarHoldsUpEveryWayToANewRoast(t *testing.T) {
	t.Parallel()
	byProbe := func(m *profiles.Machine, _ *profiles.Recipe) { m.Batch.ChargeBy = "probe" }
	for _, c := range []struct {
		name  string
		from  batch.State
		edit  func(*profiles.Machine, *profiles.Recipe)
		bar   Bar
		do    func(g *rig)
		state batch.State // after 20 s
		beans bool        // taken to be in the drum
	}{
		{"warm from cold", batch.Cold, nil, barred, func(g *rig) { g.load(); g.refused(record.StartWarming) }, batch.Cold, false},
		{"warm from run-down", batch.RunDown, nil, barred, func(g *rig) { g.refused(record.StartWarming) }, batch.RunDown, false},
		{"it comes while warming", batch.Warming, nil, barred, func(*rig) {}, batch.RunDown, false},
		{"it comes while ready", batch.Ready, nil, barred, func(*rig) {}, batch.RunDown, false},
		{"next batch", batch.Cooling, nil, barred, func(g *rig) { g.refused(record.NextBatch) }, batch.Cooling, false},
		{"cooled", batch.Cooling, nil, barred, func(g *rig) { g.must(record.CoolDone) }, batch.RunDown, false},
		{"resume without beans", batch.Held, nil, barred, func(g *rig) { g.refused(record.Resume) }, batch.Held, false},
		{"charged by word, warm for proof tests", batch.Ready, nil, Bar{Charge: "overdue"}, func(g *rig) { g.refused(record.Charged) }, batch.RunDown, true},
		{"charged by word while warming", batch.Warming, nil, Bar{Charge: "overdue"}, func(g *rig) { g.refused(record.Charged) }, batch.RunDown, true},
		{"charged by the gate", batch.Ready, nil, Bar{Charge: "overdue"}, func(g *rig) { g.charge() }, batch.RunDown, true},
		{"charged by the probe", batch.Ready, byProbe, Bar{Charge: "overdue"}, func(g *rig) { g.charge() }, batch.RunDown, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g := coldRig(t, c.edit)
			if g.step(); c.from != batch.Cold {
				g.warm()
			}
			g.to(c.from).core.Bar(c.bar)
			g.step()
			c.do(g)
			g.run(20)
			if g.core.State() != c.state || g.core.roast.beansIn != c.beans {
				t.Errorf("%s, beans %v; want %s, %v: %s", g.core.State(), g.core.roast.beansIn, c.state, c.beans, g.rec.Next)
			}
			if g.rec.Safety.HeatPermitted || g.heatW() > 0 {
				t.Errorf("heat of %.0f W in %s", g.heatW(), g.core.State())
			}
			if c.state == batch.Cold && !strings.Contains(g.rec.Next, c.bar.Warm) {
				t.Errorf("the operator is told %q", g.rec.Next)
			}
		})
	}
}

func (g *rig) refused(k record.Kind) {
	g.Helper()
	if a := g.local(k); a.Accepted || !strings.Contains(a.Reason, "overdue") {
		g.Errorf("%s: %+v", k, a)
	}
}

// A roast under way goes on to its end, and no other follows.
func TestBarNeverCutsARoast(t *testing.T) {
	t.Parallel()
	for _, from := range []batch.State{batch.Charging, batch.Roasting} {
		t.Run(from.String(), func(t *testing.T) {
			t.Parallel()
			g := newRig(t, nil).to(from)
			g.core.Bar(barred)
			g.until(batch.Roasting, 20)
			g.run(190)
			if !g.rec.Safety.HeatPermitted || g.heatW() == 0 {
				t.Fatal("the heat of the roast was taken away")
			}
			g.must(record.Hold).run(5)
			g.must(record.Resume).run(5)
			if g.core.State() != batch.Roasting || g.heatW() == 0 {
				t.Fatalf("held, the roast does not go on: %s, %.0f W", g.core.State(), g.heatW())
			}
			g.must(record.DropNow)
			g.plant.Drop()
			g.until(batch.Cooling, 60).until(batch.RunDown, 600)
			if !g.has(record.Milestone, record.MilestoneCooled) {
				t.Error("the batch did not end as a batch does")
			}
		})
	}
}

// The gate gives no heat for a new roast even if the sequence should ask for it,
// and goes on giving it to a roast.
func TestGateHoldsBackWhatIsBarred(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Cold)
	g.load().must(record.StartWarming)
	g.core.bar.Warm = "overdue"
	for range 300 {
		g.core.state = batch.Warming // a sequence that does not listen
		g.step()
		if g.rec.Safety.HeatPermitted {
			t.Fatal("heat for a new roast")
		}
	}
	if g.rec.Safety.HeldBack != "overdue" {
		t.Errorf("held back: %q", g.rec.Safety.HeldBack)
	}
}

package control

import (
	"testing"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Beans that go in where no charge is looked for are not heated unwatched: the
// roast begins as if it had been said, and stops where that cannot be.
func TestBeansThatNobodyHasSaid(t *testing.T) {
	peertest.OnceIsEnough(t)
	gateDead := func(i *point.Image) { i.In[point.ChargeGateOpen].V = 0 }
	for name, x := range map[string]struct {
		machine, recipe string
		in              batch.State
		bar             Bar
		fake            func(*point.Image)
		share           float64
		want            batch.State
	}{
		"warming, by gate":        {"heron-1000", "harbour-medium", batch.Warming, Bar{}, nil, 1, batch.Roasting},
		"warming, by probe":       {"lark-300", "window-stages", batch.Warming, Bar{}, nil, 1, batch.Roasting},
		"ready, gate contact off": {"heron-1000", "harbour-medium", batch.Ready, Bar{}, gateDead, 0.5, batch.Roasting},
		"warm to prove only":      {"heron-1000", "harbour-medium", batch.Ready, Bar{Charge: "a test is overdue"}, gateDead, 1, batch.RunDown},
		"others cool, by gate":    {"heron-1000", "harbour-medium", batch.Cooling, Bar{}, nil, 1, batch.RunDown},
		"others cool, by probe":   {"lark-300", "window-stages", batch.Cooling, Bar{}, nil, 1, batch.RunDown},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m, r := read(t, x.machine, x.recipe)
			m.Batch.SoakS = 5
			if x.in == batch.Warming {
				m.Batch.SoakS = 600
			}
			g := rigOf(t, m, r)
			g.step()
			g.warm()
			if x.in == batch.Cooling {
				warmCooling(g)
			} else {
				g.load().must(record.StartWarming)
				g.until(x.in, 900)
			}
			g.run(60)
			g.core.Bar(x.bar)
			g.run(1)
			if g.core.State() != x.in || g.core.roast.beansIn {
				t.Fatalf("%s, beans in %v", g.core.State(), g.core.roast.beansIn)
			}
			g.fake = x.fake
			if err := g.plant.Charge(x.share*float64(g.recipe.Charge.Green), 0.11); err != nil {
				t.Fatal(err)
			}
			at := g.nowS
			g.until(x.want, 50)
			if !g.core.roast.beansIn {
				t.Error("nobody knows of the beans")
			}
			if s := g.core.roast.chargeAtS - at; x.want == batch.Roasting && !(s >= -1 && s <= 5) {
				t.Errorf("charged %.1f s after the beans went in", s)
			}
			if g.run(60); x.want == batch.RunDown && g.heatW() != 0 {
				t.Errorf("heat %.0f W", g.heatW())
			}
		})
	}
}

// warmCooling brings a machine of either kind to where its first beans cool.
func warmCooling(g *rig) {
	g.Helper()
	g.load().must(record.StartWarming)
	g.until(batch.Ready, 900)
	g.run(10)
	g.charge().until(batch.Roasting, 30)
	g.run(190)
	g.must(record.DropNow)
	g.plant.Drop()
	if !g.m.HasIn[point.DischargeDoorOpen] {
		g.run(8)
		g.must(record.Dropped)
	}
	g.until(batch.Cooling, 60)
}

// What an empty drum does by itself, even with a site's most sensitive plunge, is
// taken for no beans.
func TestEmptyDrumIsNotTakenForBeans(t *testing.T) {
	peertest.OnceIsEnough(t)
	for _, machine := range [][2]string{{"heron-1000", "harbour-medium"}, {"lark-300", "window-stages"}} {
		t.Run(machine[0], func(t *testing.T) {
			t.Parallel()
			m, r := read(t, machine[0], machine[1])
			m.Batch.PlungeK, m.Batch.ChargeBy = 2, "operator"
			g := rigOf(t, m, r)
			g.step()
			said := func(s batch.State, limitS float64) {
				g.until(s, limitS)
				if g.has(record.Transition, batch.Unsaid) || g.has(record.Transition, batch.UnsaidLate) {
					t.Fatalf("beans are seen in an empty drum: %v", g.events)
				}
			}
			g.load().must(record.StartWarming)
			said(batch.Ready, 4000)
			g.charge().must(record.Charged)
			g.until(batch.Discharging, 1200)
			g.run(2)
			g.plant.Drop()
			if !m.HasIn[point.DischargeDoorOpen] {
				g.run(8)
				g.must(record.Dropped)
			}
			said(batch.Cooling, 60)
			said(batch.Ready, 2000)
			g.must(record.Hold)
			g.run(300)
			g.must(record.Resume)
			said(batch.Ready, 2000)
			g.must(record.Stop)
			g.run(600)
			g.must(record.StartWarming)
			said(batch.Ready, 4000)
		})
	}
}

// Who says late that beans went in says it of the moment when they did; what is
// estimated of such a batch is not learned from.
func TestChargeThatIsSaidLate(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	for _, afterS := range []float64{1, 10, 25} {
		g := newRig(t, func(m *profiles.Machine, _ *profiles.Recipe) { m.Batch.ChargeBy = "operator" }).to(batch.Ready)
		at := g.nowS
		g.charge().run(afterS)
		g.must(record.Charged)
		if s := g.core.roast.chargeAtS - at; g.core.State() != batch.Roasting || !(s >= -1 && s <= 5) {
			t.Errorf("said after %.0f s: %s, charged %.1f s after the beans went in", afterS, g.core.State(), s)
		}
		if late := g.has(record.Note, record.NoteChargeLate); late != (afterS > lateChargeS) {
			t.Errorf("said after %.0f s: late %v", afterS, late)
		}
	}
}

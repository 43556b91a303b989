package control

import (
	"strings"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// again starts a new controller on the machine of a rig, as after a crash.
func (g *rig) again(r Restored) *rig {
	g.Helper()
	var err error
	if g.core, err = New(g.m, r); err != nil {
		g.Fatal(err)
	}
	g.events = nil
	return g
}

// left steps with drives that go on at their last command while the permit
// leaves them alone.
func (g *rig) left(s float64) {
	for end := g.nowS + s - 1e-9; g.nowS < end; {
		was := g.permit
		g.step()
		if !g.permit.Covers(point.DrumRun) {
			g.permit = was
		}
	}
}

// A crash in a roast, mains present: drum and air go on, heat is off, a person
// is asked; stop cools without ever stopping the drum; the batch does not go on,
// and nothing heats before the beans are out and warming is asked for.
func TestRestartInARoast(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Roasting)
	g.run(60)
	id := g.rec.Batch.ID
	g.must(record.Hold) // what the drives have, with the heat that went off
	g.again(Restored{LastBatch: id, OpenBatch: true})
	g.left(20)
	tr := g.plant.Truth()
	if g.core.State() != batch.Tripped || !tr.DrumTurning || tr.AirKgPerS < 0.005 || g.rec.Permit[point.HeatEnable] != 0 {
		t.Fatalf("%s, drum %.1f rpm, air %.4f kg/s", g.core.State(), tr.DrumRPM, tr.AirKgPerS)
	}
	if !strings.Contains(g.rec.Next, "What turned goes on turning") || !strings.Contains(g.rec.Next, "restarted in a batch") {
		t.Errorf("%q, events %v", g.rec.Next, g.events)
	}
	if !g.has(record.Warning, "batch-cut") || g.rec.Batch.ID != 0 {
		t.Errorf("batch %d, events %v", g.rec.Batch.ID, g.events)
	}
	if a := g.ask(Command{Command: record.Command{Kind: record.Stop}}); a.Accepted {
		t.Error("cooling was started from afar")
	}
	if a := g.local(record.StartWarming); a.Accepted {
		t.Error("warming with a latch standing")
	}
	turned := g.plant.Truth().DrumRPM
	if a := g.local(record.Stop); !a.Accepted {
		t.Fatal(a.Reason)
	}
	for range 100 {
		if rpm := g.plant.Truth().DrumRPM; rpm < 0.4*turned || g.permit.Value(point.DrumRun) < 0.5 || g.permit.Value(point.BlowerRun) < 0.5 {
			t.Fatalf("the drum was stopped: %.1f rpm, permit %v", rpm, g.permit.Values())
		}
		g.step()
	}
	if g.core.State() != batch.RunDown || !g.has(record.Transition, "cool-restart") || g.heatW() != 0 {
		t.Errorf("%s, %.0f W", g.core.State(), g.heatW())
	}
	if a := g.local(record.StartWarming); a.Accepted || !strings.Contains(a.Reason, "No recipe") {
		t.Errorf("%+v", a)
	}
	if a := g.ask(Command{Command: record.Command{Kind: record.LoadRecipe}, Loaded: g.recipe}); a.Accepted {
		t.Error("a recipe is loaded over beans of a batch that was cut off")
	}
	g.plant.Drop()
	g.must(record.Dropped).load().must(record.StartWarming)
	g.must(record.CoolDone).until(batch.Warming, 1)
	g.run(20)
	if g.heatW() == 0 {
		t.Error("no heat although warming was asked for")
	}
}

// After the mains failed nothing turns and nothing starts by itself; the button
// or stop starts drum and air after the horn, without heat.
func TestRestartAfterMainsLoss(t *testing.T) {
	t.Parallel()
	for _, how := range []string{"button", "stop"} {
		g := coldRig(t, nil).warm()
		g.run(60)
		if g.plant.Truth().DrumTurning || g.permit.Covers(point.DrumRun) {
			t.Fatal("something started by itself")
		}
		if !strings.Contains(g.rec.Next, "nothing turns") {
			t.Errorf("%q", g.rec.Next)
		}
		if g.events = nil; how == "stop" {
			g.must(record.Stop)
		} else {
			g.reset = true
			g.step()
			g.reset = false
		}
		if g.core.State() != batch.RunDown {
			t.Fatalf("%s: %s, %v", how, g.core.State(), g.events)
		}
		horn := 0.0
		for g.permit.Value(point.DrumRun) < 0.5 && horn < 10 {
			if g.permit.Value(point.Horn) < 0.5 || g.permit.Value(point.BlowerRun) >= 0.5 {
				t.Fatalf("%s: no horn before the drum turns, or the air before it", how)
			}
			g.step()
			horn += 0.1
		}
		if want := float64(g.m.Batch.HornS); horn < want-0.15 || horn > want+0.15 {
			t.Errorf("%s: the horn sounds for %.1f s, want %.1f", how, horn, want)
		}
		g.run(20)
		if g.heatW() != 0 || g.permit.Value(point.BlowerRun) < 0.5 {
			t.Errorf("%s: heat %.0f W, permit %v", how, g.heatW(), g.permit.Values())
		}
	}
}

// A machine whose drives tell nothing is taken to stand still: the horn comes
// before the drum.
func TestRestartWithoutDriveStatus(t *testing.T) {
	t.Parallel()
	g := newRig(t, func(m *profiles.Machine, _ *profiles.Recipe) {
		m.HasIn[point.DrumStatus], m.HasIn[point.BlowerStatus] = false, false
	}).to(batch.Roasting)
	g.must(record.Hold)
	g.again(Restored{OpenBatch: true})
	g.left(5)
	if !strings.Contains(g.rec.Next, "nothing turns") {
		t.Errorf("%q", g.rec.Next)
	}
	if g.must(record.Stop); g.permit.Value(point.Horn) < 0.5 || g.permit.Value(point.DrumRun) >= 0.5 {
		t.Errorf("permit %v", g.permit.Values())
	}
}

// A cut batch is asked about also when all is cool; so are latches that cannot
// be read, and those by name.
func TestRestartAsks(t *testing.T) {
	t.Parallel()
	g := coldRig(t, nil).again(Restored{OpenBatch: true})
	g.run(5)
	if g.core.State() != batch.Tripped || g.rec.Safety.First != "restart_hot" {
		t.Errorf("%s, first %q", g.core.State(), g.rec.Safety.First)
	}
	g.reset = true
	if g.step(); g.core.State() != batch.RunDown {
		t.Errorf("beans stand in the drum: %s", g.core.State())
	}

	g = coldRig(t, nil).again(Restored{Lost: true})
	g.run(5)
	if !strings.Contains(g.rec.Next, "memory is lost") || !g.has(record.Warning, "latches-lost") {
		t.Errorf("%q, events %v", g.rec.Next, g.events)
	}
	g.reset = true
	g.step()
	g.reset = false
	if a := g.ask(Command{Command: record.Command{Kind: record.ResetTrip, Local: true}}); a.Accepted || g.core.State() != batch.Tripped {
		t.Errorf("reset without a name: %+v", a)
	}
	g.must(record.ResetTrip)
	if g.core.State() != batch.Cold {
		t.Errorf("%s", g.core.State())
	}
}

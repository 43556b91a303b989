package control

import (
	"strings"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
)

// Every command in a state in which it is refused, and the reason given.
func TestRefusals(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	remote := func(c record.Command) record.Command { c.Local = false; return c }
	here := func(k record.Kind) record.Command { return record.Command{Kind: k, Local: true, Who: "Ada"} }
	for _, c := range []struct {
		state batch.State
		cmd   record.Command
		why   string
	}{
		{batch.Cold, remote(here(record.StartWarming)), "taken at the machine only"},
		{batch.Held, remote(here(record.Resume)), "taken at the machine only"},
		{batch.Tripped, remote(here(record.ResetTrip)), "taken at the machine only"},
		{batch.Roasting, record.Command{Kind: record.SetManual, Loop: "air", Value: 0.2}, "taken at the machine only"},
		{batch.Tripped, remote(here(record.Silence)), "taken at the machine only"},
		{batch.Roasting, here(record.Silence), "No alarm sounds"},
		{batch.Roasting, here(record.Acknowledge), "Nothing is left to acknowledge"},
		{batch.Tripped, record.Command{Kind: record.Acknowledge}, "give your name"},
		{batch.Tripped, record.Command{Kind: record.Acknowledge, Cause: "high_moon", Local: true}, `there is no alarm "high_moon"`},
		{batch.Cold, here(record.StartWarming), "No recipe is loaded"},
		{batch.Tripped, here(record.StartWarming), "A trip stands"},
		{batch.Ready, here(record.StartWarming), "kept warm already"},
		{batch.Cold, here(record.LoadRecipe), "there is no such recipe"},
		{batch.Charging, here(record.LoadRecipe), "A batch is running"},
		{batch.Roasting, here(record.LoadRecipe), "A batch is running"},
		{batch.Warming, here(record.FirstCrack), "No roast is running"},
		{batch.Cooling, here(record.Charged), "Beans cool in the tray"},
		{batch.Ready, here(record.DropNow), "No beans are in the drum"},
		{batch.Warming, here(record.Dropped), "No beans are in the drum"},
		{batch.Roasting, here(record.CoolDone), "No beans cool in the tray"},
		{batch.Roasting, here(record.NextBatch), "No beans cool in the tray"},
		{batch.Discharging, here(record.Hold), "Beans are going out"},
		{batch.Warming, here(record.Resume), "Nothing is held"},
		{batch.Tripped, here(record.Stop), "A trip stands"},
		{batch.Cold, here(record.ResetTrip), "nothing is tripped"},
		{batch.Tripped, here(record.ResetTrip), "the cause still stands. The emergency stop is pressed"},
		{batch.Cold, record.Command{Kind: record.SetManual, Loop: "air", Value: 0.2, Local: true}, "only while it is in use"},
		{batch.Roasting, record.Command{Kind: record.SetManual, Loop: "air", Value: 1.01, Local: true}, "allowed is 0 to 1"},
		{batch.Roasting, record.Command{Kind: record.SetManual, Loop: "drum", Local: true}, "say air or base"},
		{batch.Roasting, here("dance"), `there is no command "dance"`},
		{batch.Roasting, here(record.NoCrack), "No first crack has been noted"},
		{batch.Roasting, remote(here(record.CallFire)), "taken at the machine only"},
	} {
		g := newRig(t, nil).to(c.state)
		if a := g.ask(Command{Command: c.cmd}); a.Accepted || !strings.Contains(a.Reason, c.why) {
			t.Errorf("%s while %s: %+v, want refused because: %s", c.cmd.Kind, c.state, a, c.why)
		}
		if g.core.State() != c.state || !g.has(record.Rejected, string(c.cmd.Kind)) {
			t.Errorf("%s while %s: now %s, events %v", c.cmd.Kind, c.state, g.core.State(), g.events)
		}
	}
}

func TestWarmingWithOpenCoverIsRefused(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).load()
	g.inject("cover_open")
	g.step()
	if a := g.local(record.StartWarming); a.Accepted || !strings.Contains(a.Reason, "cover is open") {
		t.Errorf("%+v", a)
	}
}

func TestFirstCrackIsNotedOnce(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Roasting)
	g.run(10)
	g.must(record.FirstCrack)
	at := g.rec.Batch.FirstCrackS
	g.run(5)
	if a := g.local(record.FirstCrack); a.Accepted || g.rec.Batch.FirstCrackS != at {
		t.Errorf("%+v, %v", a, g.rec.Batch.FirstCrackS)
	}
}

// Stop and an emergency stop lead out of every state, with heat off at once by
// the machine's own truth.
func TestStopAndTripInEveryState(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	for s := range batch.NumStates {
		if s != batch.Tripped && s != batch.Cold && s != batch.RunDown {
			g := newRig(t, nil).to(s)
			g.must(record.Stop)
			g.run(0.2)
			if g.core.State() != batch.RunDown || g.heatW() != 0 || g.permit.Value(point.DrumRun) != 1 && s != batch.Warming {
				t.Errorf("stop while %s: %s, heat %.0f W, drum %v", s, g.core.State(), g.heatW(), g.permit.Value(point.DrumRun))
			}
		}
		g := newRig(t, nil).to(s)
		g.inject("estop_pressed")
		g.step()
		if g.permit.Value(point.HeatEnable) != 0 || g.heatW() != 0 {
			t.Errorf("emergency stop while %s: heat in its scan", s)
		}
		if g.step(); g.core.State() != batch.Tripped || g.rec.Safety.First != "emergency_stop" || g.rec.Next == "" {
			t.Errorf("emergency stop while %s: %s, first %q", s, g.core.State(), g.rec.Safety.First)
		}
	}
}

// A trip is reset at the machine, when its cause is gone, by a named person
// where a finding is needed; then the machine runs down, and does not heat.
func TestReset(t *testing.T) {
	t.Parallel()
	press := func(g *rig) {
		g.reset = true
		g.run(0.2)
		g.reset = false
		g.run(0.2)
	}
	g := newRig(t, nil).to(batch.Ready)
	g.inject("cover_open")
	g.until(batch.Tripped, 3)
	press(g)
	if g.core.State() != batch.Tripped {
		t.Fatal("reset with the cause standing")
	}
	if err := g.plant.Clear("cover_open"); err != nil {
		t.Fatal(err)
	}
	g.reset = true // held down from before: only a press counts
	g.step()
	g.reset = false
	g.run(0.2)
	if g.core.State() != batch.RunDown || !g.has(record.Reset, "reset") {
		t.Errorf("the button left the machine %s", g.core.State())
	}
	g.run(5)
	if g.heatW() != 0 || g.permit.Value(point.HeatEnable) != 0 {
		t.Error("heat after a reset")
	}

	g = newRig(t, nil).to(batch.Ready) // a cause that wants a finding
	g.inject("drum_stall")
	g.until(batch.Tripped, 5)
	if err := g.plant.Clear("drum_stall"); err != nil {
		t.Fatal(err)
	}
	g.run(1)
	press(g)
	if g.core.State() != batch.Tripped {
		t.Error("a button is no named person")
	}
	if a := g.ask(Command{Command: record.Command{Kind: record.ResetTrip, Local: true}}); a.Accepted {
		t.Error("reset without a name")
	}
	g.must(record.ResetTrip).until(batch.RunDown, 1)

	g = coldRig(t, nil)
	g.inject("estop_pressed")
	g.until(batch.Tripped, 1)
	if err := g.plant.Clear("estop_pressed"); err != nil {
		t.Fatal(err)
	}
	g.run(1)
	g.must(record.ResetTrip)
	if g.core.State() != batch.Cold {
		t.Errorf("a cool machine is %s after a reset", g.core.State())
	}
}

// The drum never starts without its warning, also after a trip has stopped it.
func TestHornBeforeTheDrumTurns(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Ready)
	g.inject("drum_drive_fault")
	g.until(batch.Tripped, 3)
	g.run(5)
	if err := g.plant.Clear("drum_drive_fault"); err != nil {
		t.Fatal(err)
	}
	g.run(1)
	g.must(record.Acknowledge)
	g.must(record.ResetTrip).until(batch.RunDown, 1)
	horn := 0.0
	for g.permit.Value(point.DrumRun) < 0.5 {
		if g.step(); g.permit.Value(point.Horn) >= 0.5 {
			horn += float64(g.m.Scan.PeriodS)
		}
		if horn > 10 {
			t.Fatal("the drum does not start")
		}
	}
	if horn < float64(g.m.Batch.HornS)-0.25 {
		t.Errorf("the horn sounded for %.1f s before the drum turned", horn)
	}
}

// Beans that a stop leaves in the drum: no warming over them, their way out is
// seen, and the tray is cooled although the day is over.
func TestBeansOfABrokenOffBatch(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	for _, how := range []string{"door", "word"} {
		g := newRig(t, nil).to(batch.Roasting)
		g.run(190)
		g.must(record.Stop)
		if g.rec.Batch.ID != 1 || !g.has(record.Milestone, record.MilestoneAborted) {
			t.Errorf("the end of batch %d is not told", g.rec.Batch.ID)
		}
		g.step()
		if g.rec.Batch.ID != 0 || !strings.HasPrefix(g.rec.Next, "Beans may still be in the drum") {
			t.Errorf("batch %d, %q", g.rec.Batch.ID, g.rec.Next)
		}
		for _, k := range []record.Kind{record.StartWarming, record.LoadRecipe} {
			if a := g.ask(Command{Command: record.Command{Kind: k, Local: true}, Loaded: g.recipe}); a.Accepted {
				t.Errorf("%s with beans in the drum", k)
			}
		}
		g.plant.Drop()
		if how == "word" {
			g.fake = func(i *point.Image) {
				i.In[point.DischargeDoorOpen] = point.Value{Quality: point.Bad, Cause: point.Timeout}
			}
			g.run(1)
			g.must(record.Dropped)
		}
		g.run(4)
		if !g.has(record.Note, "emptied") || g.permit.Value(point.CoolingFan) != 1 {
			t.Errorf("%s: the beans' way out is not seen, fan %v", how, g.permit.Value(point.CoolingFan))
		}
		g.must(record.StartWarming)
		if g.core.State() != batch.Cooling {
			t.Errorf("warming was asked over a hot tray: %s", g.core.State())
		}
		g.until(batch.Warming, 300)
	}
}

func TestHold(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	g := newRig(t, nil).to(batch.Roasting)
	g.run(60)
	skin, n := g.rec.Drum.SetMMPerS, g.rec.Batch.SinceS
	g.must(record.Hold)
	g.run(10)
	if g.core.State() != batch.Held || g.heatW() != 0 || g.permit.Value(point.DrumRun) != 1 || g.rec.Drum.SetMMPerS < skin-1 {
		t.Errorf("held: %s, heat %.0f W, drum %v at %v mm/s", g.core.State(), g.heatW(), g.permit.Value(point.DrumRun), g.rec.Drum.SetMMPerS)
	}
	g.must(record.Resume)
	g.run(15)
	if g.core.State() != batch.Roasting || !g.rec.Bean.Active || g.heatW() == 0 || g.rec.Batch.SinceS < n+25 {
		t.Errorf("resumed: %s, bean loop %v, heat %.0f W, since %v", g.core.State(), g.rec.Bean.Active, g.heatW(), g.rec.Batch.SinceS)
	}

	g = newRig(t, nil).to(batch.Cooling)
	g.must(record.Hold)
	g.run(5)
	if g.permit.Value(point.CoolingFan) != 1 || g.heatW() != 0 {
		t.Error("hold stops the cooling of the beans")
	}
	g.must(record.Resume)
	if g.core.State() != batch.Cooling {
		t.Errorf("cooling was held; resumed it is %s", g.core.State())
	}
	g.must(record.Hold)
	g.run(300)
	if !g.has(record.Milestone, record.MilestoneCooled) || g.permit.Value(point.CoolingFan) != 0 {
		t.Error("beans that cool while held are never cool")
	}
	g.must(record.Resume)
	if g.core.State() != batch.Warming {
		t.Errorf("the tray is cool; resumed it is %s", g.core.State())
	}
}

// The batch keeps its own recipe when the next is loaded while it cools.
func TestNextRecipeWhileCooling(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Cooling)
	hash := g.rec.Batch.RecipeHash
	next := *g.recipe
	next.Name, next.Hash = "other", "0123"
	if a := g.ask(Command{Command: record.Command{Kind: record.LoadRecipe, Local: true}, Loaded: &next}); !a.Accepted {
		t.Fatal(a.Reason)
	}
	if g.rec.Batch.ID != 1 || g.rec.Batch.RecipeHash != hash {
		t.Errorf("batch 1 is told with recipe %s", g.rec.Batch.Recipe)
	}
	g.until(batch.Warming, 300)
	if g.step(); g.rec.Batch.Recipe != "other" {
		t.Errorf("loaded is %s", g.rec.Batch.Recipe)
	}
}

package control

import (
	"math"
	"strings"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

func (g *rig) turn(skinMMS float64) record.Answer {
	g.Helper()
	return g.ask(Command{Command: record.Command{Kind: record.TurnDrum, SkinMMPerS: skinMMS, Local: true, Who: "Ada"}})
}

// coldIdle is a rig that has been started cold and has settled.
func coldIdle(t *testing.T) *rig {
	g := coldRig(t, func(m *profiles.Machine, _ *profiles.Recipe) { m.Batch.HornS = 2 })
	g.run(5)
	return g
}

// The drum turns after the horn at the speed asked for, without air and heat,
// and beans are taken to be in until somebody says they are out.
func TestTurnDrum(t *testing.T) {
	g := coldIdle(t).load()
	if a := g.turn(380); !a.Accepted {
		t.Fatal(a)
	}
	horn := false
	for end := g.nowS + 30; g.nowS < end; {
		if math.Mod(g.nowS, 5) < 0.05 {
			g.turn(380)
		} else {
			g.step()
		}
		horn = horn || g.permit.Value(point.Horn) >= 0.5 && g.permit.Value(point.DrumRun) < 0.5
		if g.permit.Value(point.HeatEnable) > 0 || g.permit.Value(point.BlowerRun) > 0 || g.rec.Safety.Tripped {
			t.Fatalf("heat, air or trip: %v", g.events)
		}
	}
	if !horn {
		t.Error("no horn before the drum turned")
	}
	if got := g.rec.Drum.MeasuredMMPerS; math.Abs(got-380) > 8 {
		t.Errorf("turns at %.0f mm/s, asked 380", got)
	}
	if !strings.Contains(g.rec.Next, "Hands out") {
		t.Error(g.rec.Next)
	}
	if a := g.turn(0); !a.Accepted || g.permit.Value(point.DrumRun) > 0 {
		t.Errorf("does not stand: %+v", a)
	}
	if a := g.local(record.StartWarming); a.Accepted || !strings.Contains(a.Reason, "Beans may still be in the drum") {
		t.Errorf("warming with beans in: %+v", a)
	}
	if a := g.local(record.Dropped); !a.Accepted {
		t.Error(a)
	}
}

// A drum that nobody asks for stands after its time.
func TestTurnDrumNeedsAPerson(t *testing.T) {
	g := coldIdle(t)
	g.turn(300)
	for g.permit.Value(point.DrumRun) < 0.5 {
		g.step()
	}
	from := g.nowS
	for g.permit.Value(point.DrumRun) >= 0.5 {
		if g.step(); g.nowS > from+turnHoldS+1 {
			t.Fatal("turns on without anybody")
		}
	}
	// Stop ends it too, from anywhere.
	g.turn(300)
	g.run(4)
	if a := g.ask(Command{Command: record.Command{Kind: record.Stop}}); !a.Accepted || g.permit.Value(point.DrumRun) > 0 {
		t.Errorf("stop: %+v", a)
	}
}

func TestTurnDrumRefusals(t *testing.T) {
	for want, change := range map[string]func(*point.Image){
		"Let it cool first":      func(i *point.Image) { i.In[point.DrumSkin].V = 50 },
		"probe cannot be read":   func(i *point.Image) { i.In[point.Bean].Quality = point.Bad },
		"contactor is not known": func(i *point.Image) { i.In[point.ContactorClosed].V = 1 },
		"Shut charge gate":       func(i *point.Image) { i.In[point.DischargeDoorOpen].V = 1 },
		"A cover is open":        func(i *point.Image) { i.In[point.CoverClosed].V = 0 },
		"contact cannot be read": func(i *point.Image) { i.In[point.CoverClosed] = point.Value{Quality: point.Bad, Cause: point.Timeout} },
		"see why their contacts": func(i *point.Image) {
			i.In[point.DischargeDoorOpen] = point.Value{Quality: point.Bad, Cause: point.Timeout}
		},
	} {
		g := coldIdle(t)
		g.fake = change
		g.step()
		if a := g.turn(380); a.Accepted || !strings.Contains(a.Reason, want) {
			t.Errorf("want %q: %+v", want, a)
		}
		// The same ends a drum that turns.
		g = coldIdle(t)
		g.turn(380)
		g.run(4)
		if g.permit.Value(point.DrumRun) < 0.5 {
			t.Fatal("does not turn")
		}
		g.fake = change
		g.step()
		g.step()
		if g.core.turn.on() {
			t.Errorf("%s: turns on", want)
		}
	}
	g := coldIdle(t)
	for _, v := range []float64{1, 9999, math.Inf(1), math.NaN(), -3} {
		if a := g.turn(v); a.Accepted {
			t.Errorf("%g mm/s: %+v", v, a)
		}
	}
	if a := g.ask(Command{Command: record.Command{Kind: record.TurnDrum, SkinMMPerS: 380}}); a.Accepted {
		t.Errorf("from afar: %+v", a)
	}
	w := newRig(t, nil).to(batch.Ready)
	if a := w.turn(380); a.Accepted || !strings.Contains(a.Reason, "cold machine only") {
		t.Errorf("warm: %+v", a)
	}
}

// A trip of a drum turned by hand never speeds it up, and blows no air.
func TestTurnDrumTrips(t *testing.T) {
	g := coldIdle(t)
	g.turn(300)
	g.run(12)
	was := g.permit.Value(point.DrumSpeed)
	g.fake = func(i *point.Image) { i.In[point.EmergencyStopHealthy].V = 0 }
	g.run(2)
	if !g.rec.Safety.Tripped || g.permit.Value(point.DrumRun) > 0 {
		t.Errorf("emergency stop leaves the drum turning: %v", g.events)
	}
	g = coldIdle(t)
	g.turn(300)
	g.run(12)
	g.fake = func(i *point.Image) { i.In[point.DrumSkin].Quality = point.Bad }
	g.run(5)
	if v := g.permit.Value(point.DrumSpeed); v > was+0.1 || g.permit.Value(point.BlowerRun) > 0 {
		t.Errorf("after a trip or a lost probe: %g Hz, was %g; blower %g", v, was, g.permit.Value(point.BlowerRun))
	}
}

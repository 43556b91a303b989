package control

import (
	"math"
	"strings"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

func (g *rig) try(loop, method string, share, limitK float64) record.Answer {
	g.Helper()
	return g.ask(Command{Command: record.Command{Kind: record.TryLoop, Loop: loop, Method: method, Value: share, LimitK: limitK, Local: true, Who: "Ada"}})
}

// untilTrial steps until the experiment is in a phase, for at most s.
func (g *rig) untilTrial(phase string, s float64) {
	g.Helper()
	for end := g.nowS + s; g.rec.Trial.Phase != phase; {
		if g.step(); g.nowS > end {
			g.Fatalf("not %s within %.0f s: %+v", phase, s, g.rec.Trial)
		}
	}
}

// Both experiments on both loops run to their end within their limit, move
// nothing else, and leave the loop automatic and the machine warm.
func TestTrialRuns(t *testing.T) {
	peertest.OnceIsEnough(t)
	for _, tc := range []struct {
		loop, method  string
		share, limitK float64
		lastS         float64
	}{
		{"air", "step", 0.04, 25, 400}, {"air", "relay", 0.04, 15, 400}, {"base", "relay", 0.15, 15, 2400},
	} {
		t.Run(tc.loop+" "+tc.method, func(t *testing.T) {
			g := newRig(t, nil).to(batch.Ready)
			g.run(120)
			if a := g.try(tc.loop, tc.method, tc.share, tc.limitK); !a.Accepted {
				t.Fatal(a.Reason)
			}
			if g.rec.Trial.Phase != "rest" || !strings.Contains(g.rec.Next, "do not charge") {
				t.Errorf("%+v, told %q", g.rec.Trial, g.rec.Next)
			}
			input, loop, other := point.InletAir, &g.rec.Air, &g.rec.Base
			if tc.loop == "base" {
				input, loop, other = point.DrumSkin, &g.rec.Base, &g.rec.Air
			}
			set := other.SetC
			g.untilTrial("up", 700)
			r := &g.rec.Trial
			for end := g.nowS + tc.lastS; r.Phase != "over"; g.step() {
				if g.nowS > end {
					t.Fatalf("runs on: %+v", *r)
				}
				if loop.Mode != record.Experimenting || math.Abs(loop.Duty-r.Duty) > 1e-12 {
					t.Fatalf("loop %+v in experiment %+v", *loop, *r)
				}
				if d := math.Abs(g.img.In[input].V - r.BaseC); d > tc.limitK {
					t.Fatalf("%.1f K from rest", d)
				}
				if other.Mode != record.Automatic || other.SetC != set {
					t.Fatalf("the other loop is %+v", *other)
				}
			}
			if !r.Done || r.Why != "done" {
				t.Fatalf("ended with %+v", *r)
			}
			if g.run(1); loop.Mode != record.Automatic || g.core.State() != batch.Ready && g.core.State() != batch.Warming {
				t.Errorf("afterwards %s, loop %+v", g.rec.State, *loop)
			}
			if g.has(record.Trip, "") || g.rec.Safety.Trips > 0 {
				t.Errorf("tripped: %s", g.rec.Safety.First)
			}
			g.until(batch.Ready, 600)
		})
	}
}

// Whatever takes away what allowed an experiment ends it in the same scan, and
// its duty does not go out again.
func TestTrialEndsAtOnce(t *testing.T) {
	peertest.OnceIsEnough(t)
	for name, tc := range map[string]struct {
		do   func(*rig)
		want string
	}{
		"charge gate":    {func(g *rig) { g.charge() }, "opened"},
		"emergency stop": {func(g *rig) { g.inject("estop_pressed") }, "tripped"},
		"stop":           {func(g *rig) { g.local(record.Stop) }, "not empty and warm"},
		"hold":           {func(g *rig) { g.local(record.Hold) }, "not empty and warm"},
		"automatic": {func(g *rig) {
			g.ask(Command{Command: record.Command{Kind: record.SetAutomatic, Loop: "air", Local: true, Who: "Ada"}})
		}, "by command"},
		"other by hand": {func(g *rig) {
			g.ask(Command{Command: record.Command{Kind: record.SetManual, Loop: "base", Local: true}})
		}, "by hand"},
		"beans are in":    {func(g *rig) { g.local(record.Charged) }, "not empty and warm"},
		"probe lost":      {func(g *rig) { g.fake = spoil(point.InletAir) }, "missing"},
		"element too hot": {func(g *rig) { g.fake = set(point.HeaterElement, 640) }, "came near"},
	} {
		t.Run(name, func(t *testing.T) {
			g := newRig(t, nil).to(batch.Ready)
			g.run(60)
			if a := g.try("air", "relay", 0.05, 15); !a.Accepted {
				t.Fatal(a.Reason)
			}
			g.untilTrial("up", 300)
			tc.do(g)
			g.run(0.7)
			r := &g.rec.Trial
			if r.Phase != "over" || r.Done || !strings.Contains(r.Why, tc.want) {
				t.Fatalf("experiment %+v, want it ended because of %q", *r, tc.want)
			}
			if g.rec.Air.Mode == record.Experimenting || !g.has(record.Note, "experiment") {
				t.Errorf("loop %+v, events %v", g.rec.Air, g.events)
			}
			for range 50 {
				if g.step(); g.rec.Air.Mode == record.Experimenting {
					t.Fatal("goes on")
				}
			}
		})
	}
}

func set(i point.Input, v float64) func(*point.Image) {
	return func(m *point.Image) { m.In[i].V = v }
}

func spoil(i point.Input) func(*point.Image) {
	return func(m *point.Image) { m.In[i] = point.Value{Quality: point.Bad, Cause: point.OpenProbe} }
}

func TestTrialRefused(t *testing.T) {
	peertest.OnceIsEnough(t)
	for _, s := range []batch.State{batch.Cold, batch.Warming, batch.Roasting, batch.Cooling, batch.RunDown, batch.Held, batch.Tripped} {
		g := newRig(t, func(m *profiles.Machine, _ *profiles.Recipe) { m.Batch.ReadyBandK = 1 }).to(s)
		if s == batch.Warming {
			g.fake = set(point.InletAir, 100)
			g.step()
		}
		if a := g.try("air", "step", 0.05, 15); a.Accepted {
			t.Errorf("taken while %s", s)
		}
	}
	g := newRig(t, nil).to(batch.Ready)
	for name, c := range map[string]record.Command{
		"amplitude":      {Loop: "air", Method: "step", Value: 0.5, LimitK: 10, Local: true},
		"limit":          {Loop: "air", Method: "step", Value: 0.05, LimitK: 100, Local: true},
		"no limit":       {Loop: "air", Method: "step", Value: 0.05, Local: true},
		"method":         {Loop: "air", Method: "ramp", Value: 0.05, LimitK: 10, Local: true},
		"loop":           {Loop: "bean", Method: "step", Value: 0.05, LimitK: 10, Local: true},
		"flow too small": {Loop: "air", Method: "step", Value: 0.05, LimitK: 10, FlowKgPerH: 5, Local: true},
		"flow too large": {Loop: "air", Method: "step", Value: 0.05, LimitK: 10, FlowKgPerH: 500, Local: true},
		"from afar":      {Loop: "air", Method: "step", Value: 0.05, LimitK: 10},
	} {
		c.Kind = record.TryLoop
		if a := g.ask(Command{Command: c}); a.Accepted {
			t.Errorf("%s: taken", name)
		}
	}
}

package control

import (
	"testing"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Acknowledged from afar an alarm has a name and goes on sounding; silenced at
// the machine it is quiet, and neither moves the machine.
func TestAlarmCommands(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Tripped)
	horn := func(want float64, when string) {
		t.Helper()
		if g.step(); g.permit.Value(point.Horn) != want {
			t.Errorf("horn %v %s", g.permit.Value(point.Horn), when)
		}
	}
	horn(1, "when tripped")
	a := g.ask(Command{Command: record.Command{Kind: record.Acknowledge, Cause: "emergency_stop", Who: "Ada"}})
	if !a.Accepted || !g.has(record.Acknowledged, "emergency_stop") {
		t.Errorf("%+v", a)
	}
	if x := g.rec.Alarms.Find("emergency_stop"); x.State != record.AlarmAcknowledged || x.AckedBy != "Ada" || !x.FirstOut {
		t.Errorf("%+v", x)
	}
	horn(1, "when acknowledged from afar")
	g.must(record.Silence)
	horn(0, "when silenced")
	g.run(58)
	horn(0, "after 58 s")
	g.run(3)
	horn(1, "after a minute")
	if g.core.State() != batch.Tripped || g.permit.Value(point.HeatEnable) != 0 {
		t.Errorf("%s, heat %v", g.core.State(), g.permit.Value(point.HeatEnable))
	}
}

// A warning that nobody takes on in its time ends the roast in order, and keeps
// the machine from being warmed while its cause is there; one that is
// acknowledged, or less urgent, does not.
func TestIgnoredAlarmShutsDown(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		ack  bool
		want batch.State
	}{{"nobody comes", false, batch.RunDown}, {"acknowledged", true, batch.Roasting}} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			g := newRig(t, func(m *profiles.Machine, _ *profiles.Recipe) { m.HasIn[point.Collector] = true }).to(batch.Roasting)
			g.run(60)
			warmC := 130.0
			g.fake = func(img *point.Image) { img.In[point.Collector] = point.Value{V: warmC, Quality: point.Good} }
			g.run(10)
			if g.rec.Alarms.Find("collector_warm").State != record.AlarmUnacknowledged || g.core.State() != batch.Roasting {
				t.Fatalf("%s, %+v", g.core.State(), g.rec.Alarms.Find("collector_warm"))
			}
			if c.ack {
				g.must(record.Acknowledge)
			}
			g.run(220)
			if g.core.State() != batch.Roasting {
				t.Fatalf("%s before its time", g.core.State())
			}
			if g.run(30); g.core.State() != c.want || (g.heatW() > 0) != c.ack {
				t.Fatalf("%s with %.0f W", g.core.State(), g.heatW())
			}
			if c.ack {
				return
			}
			if !g.has(record.Escalated, "collector_warm") || !g.has(record.Transition, "alarm-ignored") || g.permit.Value(point.DrumRun) < 0.5 || g.permit.Value(point.BlowerRun) < 0.5 {
				t.Errorf("drum %v, blower %v, %v", g.permit.Value(point.DrumRun), g.permit.Value(point.BlowerRun), g.events)
			}
			g.plant.Drop()
			g.must(record.Dropped)
			g.until(batch.RunDown, 1)
			g.run(1)
			if a := g.local(record.StartWarming); a.Accepted || a.Reason != "An alarm was ignored and its cause is still there. See to it first." {
				t.Errorf("warm: %+v", a)
			}
			warmC = 40
			g.run(10)
			g.must(record.StartWarming)
		})
	}
}

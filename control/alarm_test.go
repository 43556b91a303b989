package control

import (
	"testing"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
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

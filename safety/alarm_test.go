package safety_test

import (
	"math"
	"strings"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/safety"
)

func TestWarnings(t *testing.T) {
	peertest.OnceIsEnough(t)
	for _, f := range warnings {
		t.Run(f.id, func(t *testing.T) { tryWarning(t, f, nil) })
	}
}

func TestHornUntilSilencedAndAgain(t *testing.T) {
	r := newRig(t, fullMachine(), "bean_high")
	horn := func(want float64, when string) {
		t.Helper()
		if r.scan(); r.p.Value(point.Horn) != want {
			t.Errorf("horn is %v %s", r.p.Value(point.Horn), when)
		}
	}
	horn(1, "after a restart with a latch")
	r.g.Alarms().Silence("Ada", &r.rec)
	horn(0, "when silenced")
	r.set(point.FireButton, 1)
	horn(1, "at a new trip")
	if r.rec.Safety.Trips != 1 || r.g.NumLatched() != 2 || r.g.First().ID != "bean_high" {
		t.Errorf("trips %d, first %s", r.rec.Safety.Trips, r.g.First().ID)
	}
}

// What a person sees of a trip from its coming to its reset, and that the first
// cause and the first-out alarm are the same one.
func TestAlarmOfATrip(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.sinceS = 10 // a probe that jumps about is no second charge yet
	is := func(want record.AlarmState, when string) {
		t.Helper()
		r.scan()
		if a := r.rec.Alarms.Find("bean_high"); a.State != want || !a.FirstOut || r.rec.Safety.First != "bean_high" {
			t.Errorf("%s, first-out %v, first cause %s %s; want %s", a.State, a.FirstOut, r.rec.Safety.First, when, want)
		}
	}
	r.set(point.Bean, 260)
	r.until("bean_high", 5)
	is(record.AlarmUnacknowledged, "when it trips")
	a := *r.rec.Alarms.Find("bean_high")
	if a.Value < 259.9 || a.Value > 260.1 || a.Limit <= 200 || a.Unit != "°C" || a.Count != 1 || math.Abs(a.RaisedS-r.now) > 0.25 {
		t.Errorf("%+v", a)
	}
	r.set(point.HighLimitHealthy, 0)
	is(record.AlarmUnacknowledged, "when another trips")
	if x := r.rec.Alarms.Find("high_limit"); x.FirstOut || x.State != record.AlarmUnacknowledged {
		t.Errorf("%+v", x)
	}
	if ok, why := r.g.Alarms().Acknowledge("bean_high", "", false, &r.rec); ok || !strings.Contains(why, "name") {
		t.Errorf("acknowledged from afar without a name: %q", why)
	}
	is(record.AlarmUnacknowledged, "after that")
	r.g.Alarms().Acknowledge("bean_high", "Ada", false, &r.rec)
	is(record.AlarmAcknowledged, "acknowledged")
	if r.p.Value(point.Horn) != 1 {
		t.Error("the horn was silenced from afar")
	}
	r.set(point.Bean, 100)
	r.set(point.HighLimitHealthy, 1)
	r.runS(5)
	is(record.AlarmLatchedAcknowledged, "when gone")
	r.set(point.Bean, 260)
	r.runS(5)
	is(record.AlarmUnacknowledged, "when it comes again")
	r.set(point.Bean, 100)
	r.runS(5)
	is(record.AlarmLatched, "when it has gone again")
	if ok, why := r.g.Reset("Ada", true, &r.rec); !ok {
		t.Fatal(why)
	}
	r.scan()
	if a := r.rec.Alarms.Find("bean_high"); a.State != record.AlarmNormal || a.FirstOut || a.AckedBy != "Ada" || a.Count != 2 || r.rec.Safety.NumStanding != 0 {
		t.Errorf("after the reset: %+v, %d stand", a, r.rec.Safety.NumStanding)
	}
}

// Trips that nobody reset before a restart stand unacknowledged after it.
func TestLatchesComeBackAsAlarms(t *testing.T) {
	r := newRig(t, fullMachine(), "fire_button", "bean_high")
	r.scan()
	for id, first := range map[string]bool{"fire_button": true, "bean_high": false} {
		if a := r.rec.Alarms.Find(id); a.State != record.AlarmLatched || a.FirstOut != first || a.Count != 0 {
			t.Errorf("%+v", a)
		}
	}
	if r.rec.Safety.NumStanding != 2 || r.p.Value(point.Horn) != 1 || r.rec.Alarms.Activations != 0 {
		t.Errorf("%d stand, horn %v, %d activations", r.rec.Safety.NumStanding, r.p.Value(point.Horn), r.rec.Alarms.Activations)
	}
}

// Every row has its alarm, in the order of the table.
func TestEveryRowHasAnAlarm(t *testing.T) {
	r := newRig(t, fullMachine())
	r.scan()
	table := safety.Rows(fullMachine())
	if r.rec.Alarms.Num != len(table) || r.rec.Alarms.NotShown != 0 {
		t.Fatalf("%d alarms and %d not shown for %d rows", r.rec.Alarms.Num, r.rec.Alarms.NotShown, len(table))
	}
	for i := range table {
		if a := &r.rec.Alarms.List[i]; a.ID != table[i].ID || a.Text != table[i].Cause || a.Priority != table[i].Priority || a.State != record.AlarmNormal {
			t.Errorf("row %s has %+v", table[i].ID, a)
		}
	}
}

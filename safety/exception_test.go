package safety_test

import (
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

func excepting(causes ...string) *profiles.Machine {
	m := fullMachine()
	for _, c := range causes {
		m.Exceptions = append(m.Exceptions, profiles.Exception{Cause: c, Who: "Ada", Until: "2026-12-31", Why: "belt on order."})
	}
	return m
}

// An excepted cause does not trip until the end of its last day, stands as a
// warning all the time, and tells each time what it would have tripped for.
func TestExceptedCauseOnlyWarns(t *testing.T) {
	for today, want := range map[string]bool{"2026-11-30": true, "2026-12-31": true, "2027-01-01": false, "": false} {
		r := newRig(t, excepting("cover"))
		r.g = safety.NewGate(r.m, nil, safety.Today(today, 3600))
		r.rec = record.Scan{}
		r.scan()
		first := r.rec.Events[0]
		if stands := r.rec.Alarms.Stands("cover"); stands != want || want != strings.Contains(first.Text, "by exception of Ada: belt on order.") {
			t.Errorf("%q: stands %v, told %q", today, stands, first.Text)
		}
		r.roast()
		r.rec.Events = [record.MaxEvents]record.Event{}
		r.set(point.CoverClosed, 0)
		told := 0
		for range 50 {
			r.scan()
			for i := range r.rec.Events {
				if e := &r.rec.Events[i]; strings.HasPrefix(e.Text, "By exception no trip: A cover") {
					told++
				}
			}
			r.rec.Events = [record.MaxEvents]record.Event{}
		}
		if r.heating() != want || r.latched("cover") == want || (told == 1) != want {
			t.Errorf("%q: heat %v, latched %v, told %d times", today, r.heating(), r.g.Latched(), told)
		}
		if want { // it does not keep heat from beginning either
			r.wishNoHeat()
			r.runS(1)
			if r.wishRoast(); !r.scanHeats() {
				t.Errorf("held back: %q", r.rec.Safety.HeldBack)
			}
		}
	}
}

// A gate that runs on past the last day of an exception trips again.
func TestExceptionEndsWithItsDay(t *testing.T) {
	for until, ends := range map[string]bool{"2026-12-31": true, "2027-01-01": false} {
		m := excepting("cover")
		m.Exceptions[0].Until = until
		r := newRig(t, m)
		r.g = safety.NewGate(m, nil, safety.Today("2026-12-31", r.now+120))
		r.roast()
		r.set(point.CoverClosed, 0)
		r.runS(5)
		if !r.heating() || r.latched("cover") {
			t.Fatal("tripped before the day was over")
		}
		for r.now < 400 {
			r.scan()
		}
		if r.latched("cover") != ends || r.heating() == ends {
			t.Errorf("until %s: latched %v, heat %v", until, r.g.Latched(), r.heating())
		}
	}
}

func (r *rig) scanHeats() bool { r.scan(); return r.heating() }

// What protects against fire, injury or loss of all control is never excepted,
// nor what does not trip anyway, nor a cause that is not known.
func TestWhatIsNeverExcepted(t *testing.T) {
	fixed := 0
	for _, row := range safety.Rows(fullMachine()) {
		m := excepting(row.ID)
		words, err := safety.Exceptions(m, "2026-11-30")
		g := safety.NewGate(m, []string{row.ID}, safety.Today("2026-11-30", 3600))
		if may := !row.Fixed && !row.Warn; (err == nil) != may || (len(words) == 1) != may {
			t.Errorf("%s: %q, %v", row.ID, words, err)
		}
		if !row.Warn && g.NumLatched() != 1 {
			t.Errorf("%s: an exception lifts a latch", row.ID)
		}
		if row.Fixed {
			fixed++
			if row.Warn || row.State == safety.S0 {
				t.Errorf("%s is fixed but only warns", row.ID)
			}
		}
	}
	for _, id := range []string{"emergency_stop", "fire_button", "high_limit", "bean_high", "drum_stall", "air_lost", "collector_high", "carbon_monoxide"} {
		if !rowOf(t, fullMachine(), id).Fixed {
			t.Errorf("%s can be excepted", id)
		}
	}
	if _, err := safety.Exceptions(excepting("no_such_cause"), ""); err == nil || !strings.Contains(err.Error(), "drumwright matrix") {
		t.Error(err)
	}
}

// The words of the matrix are what the gate does.
func TestMatrixSaysWhatIsForced(t *testing.T) {
	m := fullMachine()
	for _, l := range safety.Matrix(m, "") {
		if l.Warn || l.State == safety.S7 {
			continue
		}
		for o, want := range map[point.Output]map[string]float64{
			point.HeatEnable: {"off": 0}, point.AirHeaterPower: {"off": 0}, point.RadiantPower: {"off": 0},
			point.BlowerSpeed: {"off": 0, "goes on, at least 60 %": 30, "goes on, full": 50},
			point.DrumSpeed:   {"off": 0, "goes on": 50}, point.CoolingFan: {"off": 0, "on": 1},
		} {
			c := columns[l.State.Code()] // what TestEveryRow finds the gate to do
			got := map[point.Output]float64{point.BlowerSpeed: c.blowerHz, point.DrumSpeed: c.drumHz, point.CoolingFan: c.fan}[o]
			if v, ok := want[l.Effect(o)]; !ok || v != got {
				t.Errorf("%s: %s is said to be %q, but is %v", l.ID, o, l.Effect(o), got)
			}
		}
	}
}

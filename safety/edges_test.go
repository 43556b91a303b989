package safety_test

import (
	"math"
	"strings"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

// What must trip, and what must not though it is near to it.
func TestEdgesOfTheSignals(t *testing.T) {
	peertest.OnceIsEnough(t)
	bad := func(i point.Input, c point.Cause, ageS float64) func(*rig) {
		return func(r *rig) { r.bad(i, c, ageS) }
	}
	set := func(i point.Input, v float64) func(*rig) { return func(r *rig) { r.set(i, v) } }
	for name, c := range map[string]struct {
		act  func(*rig)
		runS float64
		want string // the only row that latches
	}{
		"last value of an open probe":           {func(r *rig) { r.set(point.Exhaust, 280); r.bad(point.Exhaust, point.OpenProbe, 0) }, 5, ""},
		"probe beyond its range, low":           {func(r *rig) { r.set(point.Exhaust, -50); r.bad(point.Exhaust, point.OutOfRange, 0) }, 5, ""},
		"bean not a number":                     {set(point.Bean, math.NaN()), 1, "bean_probe"},
		"silent unit of the bean probe":         {bad(point.Bean, point.Timeout, 2.5), 5, "unit_lost"},
		"silent unit, young":                    {bad(point.Bean, point.BusDown, 0.5), 0.1, "unit_lost"},
		"never read":                            {bad(point.HighLimit, point.NotReadYet, 2), 0.1, "unit_lost"},
		"not read yet":                          {bad(point.HighLimit, point.NotReadYet, 1.9), 5, ""},
		"silent room probe":                     {bad(point.Ambient, point.Timeout, 9), 5, ""},
		"status says fault":                     {set(point.DrumStatus, point.DriveFault), 1, "drum_drive"},
		"blower status says fault":              {set(point.BlowerStatus, point.DriveFault), 0.4, "blower_drive"},
		"drum status unknown":                   {bad(point.DrumStatus, point.UnknownState, 0), 3.2, "drum_not_running"},
		"blower status unknown":                 {bad(point.BlowerStatus, point.UnknownState, 0), 1, "air_lost"},
		"blower status stopped":                 {set(point.BlowerStatus, point.DriveStopped), 1, "air_lost"},
		"flow under the least":                  {set(point.AirFlow, 9.9), 1, "air_lost"},
		"flow at the least":                     {func(r *rig) { r.w.Out[point.BlowerSpeed] = 10; r.set(point.AirFlow, 10) }, 5, ""},
		"flow meter broken":                     {bad(point.AirFlow, point.OutOfRange, 0), 1, "air_lost"},
		"proving contact unread, but on":        {func(r *rig) { r.img.In[point.AirProving].Quality = point.Uncertain }, 3, ""},
		"rise within a minute of charge":        {func(r *rig) { r.sinceS = 30; r.ramp[point.Bean] = 2.6 }, 10, ""},
		"infinite wish":                         {func(r *rig) { r.w.Out[point.AirHeaterPower] = math.Inf(1) }, 0.1, "bad_wish"},
		"inlet rises just after the air heater": {func(r *rig) { r.w.Out[point.AirHeaterPower] = 0; r.ramp[point.InletAir] = 0.5 }, 14, ""},
		"skin rises under the panels":           {func(r *rig) { r.w.Out[point.AirHeaterPower] = 0; r.ramp[point.DrumSkin] = 0.5 }, 100, ""},
		"fast rise with the air heater on": {func(r *rig) {
			r.beans, r.w.Out[point.RadiantPower] = false, 0
			r.runS(6)
			r.ramp[point.Bean] = 1.8
		}, 10, ""},
		"exhaust climbs with heat off": {func(r *rig) {
			r.beans = false
			r.wishNoHeat()
			r.runS(6)
			r.glide(point.InletAir, 150)
			r.ramp[point.Exhaust] = 1.7
		}, 6.2, "fire_in_drum"},
		"cover opens without heat": {func(r *rig) { r.beans = false; r.wishNoHeat(); r.runS(1); r.set(point.CoverClosed, 0) }, 10, ""},
		"probe breaks while heat is withheld": {func(r *rig) {
			r.beans = false
			r.w.Out[point.DrumRun] = 0
			r.runS(1)
			r.bad(point.Bean, point.OpenProbe, 0)
		}, 1, "bean_probe"},
	} {
		r := newRig(t, fullMachine())
		r.roast()
		c.act(r)
		r.runS(c.runS)
		if got := strings.Join(r.g.Latched(), " "); got != c.want {
			t.Errorf("%s: latched %q, want %q", name, got, c.want)
		}
	}
}

func TestHeatIsNotBegunUnder(t *testing.T) {
	ready := func() *rig {
		r := newRig(t, fullMachine())
		r.scan()
		r.wishRoast()
		r.wishNoHeat()
		r.runS(8)
		return r
	}
	for name, c := range map[string]struct {
		act  func(*rig)
		heat bool
	}{
		"nothing":             {func(*rig) {}, true},
		"a broken room probe": {func(r *rig) { r.bad(point.Ambient, point.OpenProbe, 0) }, true},
		"a limit passed":      {func(r *rig) { r.set(point.DrumSkin, 301) }, false},
		"a frozen inlet":      {func(r *rig) { r.still[point.InletAir] = true; r.runS(1); r.set(point.Ambient, 25); r.runS(1) }, false},
		"a late scan":         {func(r *rig) { r.dt = 1.5 }, false},
	} {
		r := ready()
		c.act(r)
		r.wishRoast()
		if r.scan(); r.heating() != c.heat || r.g.Tripped() {
			t.Errorf("%s: heat %v, latched %v: %q", name, r.heating(), r.g.Latched(), r.rec.Safety.HeldBack)
		}
	}
	// Asked for since before the start: never.
	r := newRig(t, fullMachine())
	r.wishRoast()
	if r.runS(20); r.heating() || !strings.Contains(r.rec.Safety.HeldBack, "anew") {
		t.Errorf("heat %v: %q", r.heating(), r.rec.Safety.HeldBack)
	}
	r = newRig(t, fullMachine(), "cover")
	if r.scan(); r.rec.Safety.HeldBack != "a trip stands" {
		t.Errorf("held back: %q", r.rec.Safety.HeldBack)
	}
	r = newRig(t, fullMachine())
	r.bad(point.Bean, point.NotReadYet, 0)
	if r.scan(); !strings.Contains(r.rec.Safety.HeldBack, "read since the start") {
		t.Errorf("held back: %q", r.rec.Safety.HeldBack)
	}
}

func TestExactlyAtTheHeatLimit(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.still[point.Bean] = true
	r.set(point.Bean, 235)
	if r.scan(); r.p.Value(point.AirHeaterPower) != 0 {
		t.Error("heat at the limit")
	}
	r.bad(point.Bean, point.OpenProbe, 0)
	r.bad(point.Bean2, point.OpenProbe, 0)
	if r.scan(); r.p.Value(point.AirHeaterPower) != 0 || !r.heating() {
		t.Error("heat comes back when the probes can no longer be read")
	}
}

// A store that names something unknown, or a cause that only warns, stops
// everything, says so, and wants a name; the emergency stop is not blamed.
func TestUnknownLatch(t *testing.T) {
	for _, id := range []string{"no such cause", "drum_slow", ""} {
		r := newRig(t, fullMachine(), id)
		r.runS(2)
		if got := r.g.Latched(); len(got) != 1 || got[0] != safety.UnknownTrip || r.rec.Safety.SafeState != "S6" || r.heating() {
			t.Errorf("%q latches %v, %s", id, got, r.rec.Safety.SafeState)
		}
		if ok, why := r.g.Reset("", true, &r.rec); ok || !strings.Contains(why, "give your name") {
			t.Errorf("reset without a name: %v, %q", ok, why)
		}
		if ok, why := r.g.Reset("Ada", true, &r.rec); !ok || r.g.Tripped() {
			t.Errorf("reset by Ada: %v, %q", ok, why)
		}
	}
}

// What tripped first is still known after a restart, whatever the table's order.
func TestFirstCauseOutlivesARestart(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.set(point.CoverClosed, 0)
	r.runS(3)
	r.set(point.EmergencyStopHealthy, 0)
	r.runS(1)
	kept := r.g.Latched()
	if r.rec.Safety.First != "cover" || len(kept) < 2 || kept[0] != "cover" {
		t.Fatalf("first %s, stored as %v", r.rec.Safety.First, kept)
	}
	again := newRig(t, fullMachine(), kept...)
	again.scan()
	if f := again.g.First(); f.ID != "cover" || again.rec.Safety.First != "cover" || !again.rec.Alarms.Find("cover").FirstOut || again.rec.Alarms.Find("emergency_stop").FirstOut {
		t.Errorf("after the restart %s is first", f.ID)
	}
}

// A latch from before on a cold machine leaves what turns until it is reset.
func TestLatchFromBeforeLeavesWhatTurns(t *testing.T) {
	// A latch from before on a cold machine leaves what turns until it is reset.
	r := newRig(t, fullMachine(), "bean_high")
	if r.runS(1); r.p.Covers(point.DrumRun) {
		t.Error("the drum is stopped")
	}
}

func TestSillyWishesStayFinite(t *testing.T) {
	peertest.OnceIsEnough(t)
	for o := range point.NumOutputs {
		for _, x := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1e300, 1e300, -1} {
			r := newRig(t, fullMachine())
			r.roast()
			r.w.Out[o] = x
			for range 3 {
				r.scan()
				for q := range point.NumOutputs {
					if v := r.p.Value(q); !(v >= 0 && v <= 65) {
						t.Fatalf("%s of %v gives %s %v", o, x, q, v)
					}
				}
			}
			if o == point.DrumSpeed && math.IsInf(x, 1) && r.p.Value(o) != 50 {
				t.Errorf("the drum goes to %v Hz", r.p.Value(o))
			}
			if silly := math.IsNaN(x) || math.IsInf(x, 0); silly != r.latched("bad_wish") {
				t.Errorf("%s of %v: latched %v", o, x, r.g.Latched())
			}
		}
	}
	r := newRig(t, fullMachine())
	r.scan()
	r.w.Out[point.Stirrer], r.w.Out[point.CoolingFan] = 0.5, 0.49
	if r.scan(); r.p.Value(point.Stirrer) != 1 || r.p.Value(point.CoolingFan) != 0 {
		t.Errorf("contacts between 0 and 1: %v", r.p.Values())
	}
}

// However long a cause has stood, it is gone twice its delay after it has gone.
func TestLongStandingCauseClears(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.set(point.CoverClosed, 0)
	r.runS(120)
	r.set(point.CoverClosed, 1)
	r.runS(1.9)
	if ok, _ := r.g.Reset("", true, &r.rec); ok {
		t.Error("reset too soon")
	}
	r.runS(0.5)
	if ok, why := r.g.Reset("", true, &r.rec); !ok {
		t.Error(why)
	}
}

func TestResetOfATemperatureNeedsItsProbe(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.set(point.Exhaust, 275)
	r.until("exhaust_high", 2)
	r.bad(point.Exhaust, point.OpenProbe, 0)
	r.runS(10)
	if ok, why := r.g.Reset("Ada", true, &r.rec); ok || !strings.Contains(why, "cannot be seen to be gone. The air leaving the drum is above") {
		t.Errorf("%v: %q", ok, why)
	}
}

// A warning that flickers is told once, not at every change.
func TestFlickeringWarningIsToldOnce(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	told := 0
	for n := range 200 {
		if r.good(point.Exhaust); n%4 != 0 {
			r.bad(point.Exhaust, point.OpenProbe, 0)
		}
		r.scan()
		for _, e := range r.rec.Events[:2] {
			if e.Name == "exhaust_probe" && e.Kind == record.Warning {
				told++
			}
		}
		r.rec.Events = [record.MaxEvents]record.Event{}
	}
	if told != 1 {
		t.Errorf("told %d times", told)
	}
}

// One pulse in a turn of three seconds: the wait is two and a half turns, and a
// long stop before does not count.
func TestSlowDrumWithOnePulse(t *testing.T) {
	m := fullMachine()
	m.Drum.PulsesPerRev, m.Limits.SlipTrip, m.Limits.SlipTripS = 1, 0.9, 10
	r := newRig(t, m)
	r.scan()
	slow := func() { r.wishRoast(); r.w.Out[point.DrumSpeed] = 20 }
	slow()
	if r.runS(30); r.g.Tripped() || !r.heating() {
		t.Fatalf("latched %v: %q", r.g.Latched(), r.rec.Safety.HeldBack)
	}
	r.w.Out = [point.NumOutputs]float64{}
	r.runS(60)
	r.pulses = math.Floor(r.pulses) + 0.01
	slow()
	if r.runS(30); r.g.Tripped() || !r.heating() {
		t.Fatalf("latched %v: %q", r.g.Latched(), r.rec.Safety.HeldBack)
	}
	r.share = 0
	if n := r.until("drum_stall", 8); n < 44 || n > 75 {
		t.Errorf("stall after %d scans, want 7.5 s since the last pulse", n)
	}
}

// The drive's slow ramp and a speed that is known once a turn are no slip.
func TestSlowRampIsNoSlip(t *testing.T) {
	m := fullMachine()
	m.Drum.PulsesPerRev, m.Drum.RampHzPerS = 1, 2
	for _, phase := range []float64{0, 0.25, 0.5, 0.75} {
		r := newRig(t, m)
		r.pulses += phase
		r.scan()
		r.wishRoast()
		for range 600 {
			if r.scan(); r.rec.Safety.NumStanding > 0 {
				t.Fatalf("%+v at %v s", r.rec.Alarms.List[:r.rec.Alarms.Num], r.now)
			}
		}
		if !r.heating() {
			t.Errorf("no heat: %q", r.rec.Safety.HeldBack)
		}
	}
}

func TestAirCurrentInPauses(t *testing.T) {
	m := fullMachine()
	m.Cycle[point.AirHeaterPower] = profiles.TimeProportion{PeriodS: 4}
	r := newRig(t, m)
	r.roast()
	r.set(point.AirHeaterCurrent, 1) // more would not follow its command
	for range 10 {
		r.w.Out[point.AirHeaterPower] = 1
		r.runS(1)
		r.w.Out[point.AirHeaterPower] = 0
		r.runS(3)
	}
	if r.g.Tripped() {
		t.Errorf("latched %v", r.g.Latched())
	}
	if r.runS(3); !r.latched("air_current_unasked") {
		t.Error("a welded switch is not seen")
	}
}

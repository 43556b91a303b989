package safety_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/safety"
)

// A loose wire: every other reading is open, and the probe is over its limit in
// between. Neither delay may start anew at each change.
func TestFlickerDoesNotDisarm(t *testing.T) {
	for id, flick := range map[string]func(r *rig, odd bool){
		"bean_probe": func(r *rig, odd bool) {
			if r.good(point.Bean); odd {
				r.bad(point.Bean, point.OpenProbe, 0)
			}
		},
		"exhaust_high": func(r *rig, odd bool) {
			if r.set(point.Exhaust, 275); odd {
				r.bad(point.Exhaust, point.OpenProbe, 0)
			}
		},
		"cover": func(r *rig, odd bool) { r.set(point.CoverClosed, map[bool]float64{true: 0, false: 1}[odd]) },
	} {
		r := newRig(t, fullMachine())
		r.roast()
		for n := range 60 {
			flick(r, n%2 == 0)
			if r.scan(); r.latched(id) {
				break
			}
		}
		if !r.latched(id) {
			t.Errorf("%s is not seen through the flicker", id)
		}
	}
	// But short and rare it must not trip: one scan in three.
	r := newRig(t, fullMachine())
	r.roast()
	for n := range 300 {
		r.set(point.CoverClosed, map[bool]float64{true: 0, false: 1}[n%3 == 0])
		r.scan()
	}
	if r.g.Tripped() {
		t.Errorf("tripped: %v", r.g.Latched())
	}
}

// A restart finds the machine hot: nothing that may turn is stopped or started,
// heat is off, and a person at the machine decides.
func TestRestartHot(t *testing.T) {
	hot := func(latched ...string) *rig {
		r := newRig(t, fullMachine(), latched...)
		r.set(point.DrumSkin, 60)
		return r
	}
	motion := []point.Output{point.DrumRun, point.DrumSpeed, point.BlowerRun, point.BlowerSpeed, point.CoolingFan, point.Stirrer}
	r := hot()
	if r.scan(); !r.latched("restart_hot") || r.rec.Safety.SafeState != "S7" {
		t.Fatalf("latched %v", r.g.Latched())
	}
	r.wishRoast()
	for range 100 {
		r.scan()
		for o := range point.NumOutputs {
			if r.p.Covers(o) == slices.Contains(motion, o) || r.p.Value(o) != 0 && o != point.Horn {
				t.Fatalf("%s: covered %v, %v", o, r.p.Covers(o), r.p.Value(o))
			}
		}
	}
	if ok, _ := r.g.Reset("", false, &r.rec); ok {
		t.Error("reset from the network")
	}
	if ok, why := r.g.Reset("", true, &r.rec); !ok {
		t.Error(why)
	}
	r.scan()
	if r.p.Value(point.DrumRun) != 1 || !r.p.Covers(point.DrumRun) || r.g.Tripped() {
		t.Error("drum and air do not follow after the reset")
	}
	r.runS(10)
	if r.heating() {
		t.Error("heat without being asked for anew")
	}

	// A latch that survived: what it keeps is left, what it stops is stopped.
	r = hot("bean_high")
	if r.scan(); r.g.State() != safety.S1 || r.p.Covers(point.DrumRun) || r.p.Covers(point.BlowerRun) || r.p.Covers(point.CoolingFan) {
		t.Errorf("%v covers %v", r.g.State().Code(), r.p.Covers(point.DrumRun))
	}
	r = hot("drum_stall")
	if r.scan(); r.g.State() != safety.S3 || !r.p.Covers(point.DrumRun) || r.p.Covers(point.BlowerRun) {
		t.Errorf("%v covers %v", r.g.State().Code(), r.p.Covers(point.DrumRun))
	}
	r = hot("fire_button")
	if r.scan(); r.g.State() != safety.S2 || r.p.Covers(point.DrumRun) || !r.p.Covers(point.BlowerRun) || !r.p.Covers(point.CoolingFan) {
		t.Errorf("%v covers %v", r.g.State().Code(), r.p.Covers(point.DrumRun))
	}

	// Until every temperature has been read nothing is stopped either.
	r = newRig(t, fullMachine())
	r.bad(point.Bean, point.NotReadYet, 0.1)
	for range 50 {
		if r.scan(); r.g.Tripped() || r.p.Covers(point.DrumRun) || !r.p.Covers(point.HeatEnable) {
			t.Fatalf("latched %v", r.g.Latched())
		}
	}
	r.good(point.Bean)
	if r.scan(); r.g.Tripped() || !r.p.Covers(point.DrumRun) {
		t.Error("a cold machine is not taken over")
	}
	r.set(point.DrumSkin, 59.9)
	r.scan()
	r.set(point.DrumSkin, 80)
	if r.scan(); r.g.Tripped() {
		t.Error("a machine that was seen cool warms up")
	}
}

// No safe state starts what did not run.
func TestATripStartsNothing(t *testing.T) {
	for _, id := range []string{"high_limit", "fire_button", "drum_drive", "blower_drive", "emergency_stop"} {
		r := newRig(t, fullMachine())
		r.runS(1)
		for _, f := range faults {
			if f.id == id {
				f.on(r)
			}
		}
		r.until(id, 1)
		r.wishRoast()
		r.w.Out[point.CoolingFan], r.w.Out[point.Stirrer] = 1, 1
		r.runS(5)
		for o := range point.NumOutputs {
			if r.p.Value(o) != 0 && o != point.Horn {
				t.Errorf("%s: %s is %v", id, o, r.p.Value(o))
			}
		}
	}
	// The stirrer goes on with the fan, and the drum at least at its least speed.
	r := newRig(t, fullMachine())
	r.roast()
	r.w.Out[point.CoolingFan], r.w.Out[point.Stirrer] = 1, 1
	r.runS(1)
	r.set(point.HighLimitHealthy, 0)
	r.w.Out[point.DrumSpeed], r.w.Out[point.BlowerSpeed] = 3, 45
	r.scan()
	if r.p.Value(point.Stirrer) != 1 || r.p.Value(point.DrumSpeed) != 50 || r.p.Value(point.BlowerSpeed) != 45 {
		t.Errorf("permitted: %v", r.p.Values())
	}
	r.w.Out = [point.NumOutputs]float64{}
	r.scan()
	if r.p.Value(point.DrumRun) != 1 || r.p.Value(point.DrumSpeed) != 50 || r.p.Value(point.BlowerSpeed) != 30 || r.p.Value(point.CoolingFan) != 1 {
		t.Errorf("permitted: %v", r.p.Values())
	}
}

func TestResetNeedsToSee(t *testing.T) {
	r := newRig(t, fullMachine(), "emergency_stop")
	if ok, why := r.g.Reset("Ada", true, &r.rec); ok || !strings.Contains(why, "read") {
		t.Errorf("reset before anything was read: %q", why)
	}
	r.bad(point.EmergencyStopHealthy, point.NotReadYet, 0)
	r.scan()
	if ok, why := r.g.Reset("Ada", true, &r.rec); ok || !strings.Contains(why, "cannot be seen") {
		t.Errorf("reset without seeing the stop: %q", why)
	}
	r.good(point.EmergencyStopHealthy)
	r.scan()
	if ok, why := r.g.Reset("Ada", true, &r.rec); !ok || r.rec.Events[r.rec.NumEvents-1].Kind != record.Reset || !strings.Contains(why, "by Ada; emergency_stop") {
		t.Errorf("not reset: %q", why)
	}
	if ok, why := r.g.Reset("Ada", true, &r.rec); ok || why != "nothing is tripped" {
		t.Errorf("reset of nothing: %q", why)
	}

	r = newRig(t, fullMachine())
	r.roast()
	r.set(point.Bean, 250)
	r.until("bean_high", 2)
	r.bad(point.Bean, point.OpenProbe, 0)
	r.runS(5)
	if ok, _ := r.g.Reset("Ada", true, &r.rec); ok {
		t.Error("reset of bean_high with a broken bean probe")
	}
	r.set(point.Bean, 200)
	r.scan()
	if ok, why := r.g.Reset("Ada", true, &r.rec); ok || !strings.Contains(why, "a moment ago") {
		t.Errorf("reset in the first good reading: %q", why)
	}
	r.runS(10)
	if ok, why := r.g.Reset("Ada", true, &r.rec); !ok {
		t.Error(why)
	}
}

func TestContactLostAndLate(t *testing.T) {
	r := newRig(t, fullMachine())
	r.scan()
	r.bad(point.EmergencyStopHealthy, point.Timeout, 1.9) // still connecting after a start
	if r.runS(1); r.g.Tripped() {
		t.Errorf("tripped: %v", r.g.Latched())
	}
	r.bad(point.EmergencyStopHealthy, point.Timeout, 2.1) // its unit is silent: no heat, and in a roast a trip of the unit
	r.wishRoast()
	if r.runS(10); r.latched("emergency_stop") || r.heating() || r.rec.Safety.HeldBack == "" {
		t.Errorf("with a silent stop contact: latched %v, heat %v, held back %q", r.g.Latched(), r.heating(), r.rec.Safety.HeldBack)
	}
	r = newRig(t, fullMachine())
	r.roast()
	r.bad(point.EmergencyStopHealthy, point.Timeout, 2.1)
	if r.scan(); !r.latched("unit_lost") || r.heating() {
		t.Errorf("with a silent stop contact in a roast: latched %v, heat %v", r.g.Latched(), r.heating())
	}
	r = newRig(t, fullMachine())
	r.roast()
	r.bad(point.EmergencyStopHealthy, point.UnknownState, 0) // answers, but nonsense
	if r.scan(); !r.latched("emergency_stop") {
		t.Error("a lost emergency stop contact is not seen")
	}
	r = newRig(t, fullMachine())
	r.roast()
	r.bad(point.Exhaust, point.OutOfRange, 0) // beyond its range, but upwards
	r.img.In[point.Exhaust].V = 500
	if n := r.until("exhaust_high", 2); n != 10 {
		t.Errorf("after %d scans", n)
	}
	for _, s := range []float64{math.NaN(), math.Inf(1)} {
		r = newRig(t, fullMachine())
		r.roast()
		now := r.now
		r.now = s
		if r.scan(); !r.latched("scan_late") || r.heating() {
			t.Errorf("time %v: %v", s, r.g.Latched())
		}
		r.now = now + 0.2
		r.scan()
	}
	r = newRig(t, fullMachine())
	r.roast()
	r.dt = 0
	if r.scan(); !r.latched("scan_late") {
		t.Error("time that stands still is not seen")
	}
}

// Frozen while an on/off heater works in windows: the pauses must not take the
// proof back.
func TestFrozenBetweenPulses(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.still[point.InletAir] = true
	for n := range 250 {
		r.w.Out[point.AirHeaterPower], r.w.Out[point.RadiantPower] = 0, 0
		if n%20 < 6 {
			r.w.Out[point.AirHeaterPower] = 1
		}
		if r.scan(); r.g.Tripped() {
			break
		}
	}
	if !r.latched("inlet_frozen") {
		t.Errorf("latched: %v", r.g.Latched())
	}
	// Another probe that moves proves it too; without either, still is still.
	for moved, want := range map[float64]bool{0: false, 2.9: false, 3.1: true} {
		r := newRig(t, fullMachine())
		r.roast()
		r.w.Out[point.AirHeaterPower], r.w.Out[point.RadiantPower] = 0, 0
		r.runS(1)
		r.still[point.Bean] = true
		r.runS(1)
		r.lastBase[point.Ambient] += moved
		if r.runS(12); r.latched("bean_frozen") != want {
			t.Errorf("moved %v: %v", moved, r.g.Latched())
		}
	}
}

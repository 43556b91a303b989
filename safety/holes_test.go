package safety_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
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

// Drum or blower not commanded for a single scan: heat goes in that scan and
// comes back only after the whole proof of a start.
func TestHeatComesBackOnlyWithProof(t *testing.T) {
	for o, proofS := range map[point.Output]float64{point.DrumRun: 3, point.BlowerRun: 5, point.DrumSpeed: 3, point.BlowerSpeed: 5} {
		r := newRig(t, fullMachine())
		r.roast()
		keep := r.w.Out[o]
		r.w.Out[o] = 0
		if r.scan(); r.heating() {
			t.Fatalf("%s: heat stays", o)
		}
		r.w.Out[o] = keep
		n := 0
		for ; !r.heating() && n < 200; n++ {
			r.scan()
		}
		if float64(n)*0.1 < proofS || n == 200 {
			t.Errorf("%s: heat back after %d scans", o, n)
		}
	}
	// A drum that does not turn again gives no heat.
	r := newRig(t, fullMachine())
	r.roast()
	r.w.Out[point.DrumRun] = 0
	r.scan()
	r.w.Out[point.DrumRun], r.share = 1, 0
	for range 200 {
		if r.scan(); r.heating() {
			t.Fatal("heat with a drum that stands")
		}
	}
}

func TestWhatHeatNeeds(t *testing.T) {
	for name, c := range map[string]struct {
		change func(*rig)
		held   string
	}{
		"creeping drum":        {func(r *rig) { r.w.Out[point.DrumSpeed] = 19.9 }, "drum is not told"},
		"no drum speed":        {func(r *rig) { r.w.Out[point.DrumSpeed] = 0 }, "drum is not told"},
		"no blower":            {func(r *rig) { r.w.Out[point.BlowerRun] = 0 }, "blower is not told"},
		"air not proven":       {func(r *rig) { r.set(point.AirProving, 0) }, "air_proving"},
		"flow too low":         {func(r *rig) { r.set(point.AirFlow, 4.9) }, "air_flow"},
		"flow meter open":      {func(r *rig) { r.bad(point.AirFlow, point.OutOfRange, 0) }, "no good value"},
		"drive status strange": {func(r *rig) { r.bad(point.DrumStatus, point.UnknownState, 0) }, "no good value"},
		"limit not read":       {func(r *rig) { r.bad(point.HighLimitHealthy, point.NotReadYet, 0) }, "no good value"},
		"bean doubtful": {func(r *rig) {
			r.img.In[point.Bean].Quality, r.img.In[point.Bean].Cause = point.Uncertain, point.Timeout
		}, "no good value"},
		"cover open":   {func(r *rig) { r.set(point.CoverClosed, 0) }, "cover or guard"},
		"drum stands":  {func(r *rig) { r.share = 0 }, "not yet seen to turn"},
		"drive stands": {func(r *rig) { r.set(point.DrumStatus, point.DriveStopped) }, "not yet seen to turn"},
	} {
		m := fullMachine()
		m.Limits.AirLostS, m.Limits.StallS = 2, 5
		r := newRig(t, m)
		r.scan()
		r.wishRoast()
		c.change(r)
		if r.runS(4.5); c.held != "not yet seen to turn" {
			r.runS(0.9) // the blower is up, air_lost and drum_stall not yet over
		}
		if r.heating() || !strings.Contains(r.rec.Safety.HeldBack, c.held) {
			t.Errorf("%s: heat %v, held back: %q, latched %v", name, r.heating(), r.rec.Safety.HeldBack, r.g.Latched())
		}
	}
	// The point without any change gets heat at 5 s, when the blower is up.
	r := newRig(t, fullMachine())
	r.scan()
	r.wishRoast()
	n := 0
	for ; !r.heating() && n < 100; n++ {
		r.scan()
	}
	if n < 50 || n > 52 {
		t.Errorf("heat after %d scans", n)
	}
}

// A speed device instead of a counter must see the drum turn too, and a stall
// takes the site's time.
func TestSpeedDevice(t *testing.T) {
	m := fullMachine()
	m.HasIn[point.DrumPulses], m.HasIn[point.DrumTurning] = false, true
	r := newRig(t, m)
	r.img.In[point.DrumPulses] = point.Value{}
	r.scan()
	r.img.In[point.DrumPulses] = point.Value{}
	r.wishRoast()
	r.set(point.DrumTurning, 0)
	for range 70 {
		r.scan()
		r.img.In[point.DrumPulses] = point.Value{}
		if r.heating() {
			t.Fatal("heat with a drum that stands")
		}
	}
	if !r.latched("drum_stall") {
		t.Errorf("latched: %v", r.g.Latched())
	}
	for name, lost := range map[string]func(*rig){
		"stands": func(r *rig) { r.set(point.DrumTurning, 4.9) },
		"broken": func(r *rig) { r.bad(point.DrumTurning, point.OutOfRange, 0) },
	} {
		r = newRig(t, m)
		r.scan()
		r.set(point.DrumTurning, 50)
		r.wishRoast()
		r.runS(8)
		if !r.heating() || r.g.ShaftRPM(&r.img) != 50 {
			t.Fatalf("%s: no heat: %q", name, r.rec.Safety.HeldBack)
		}
		lost(r)
		if n := r.until("drum_stall", 4); n < 28 || n > 30 {
			t.Errorf("%s: stall after %d scans", name, n)
		}
	}
}

func TestTooHotBeansWithholdWithoutChatter(t *testing.T) {
	for _, probe := range []point.Input{point.Bean, point.Bean2} {
		r := newRig(t, fullMachine())
		r.roast()
		for _, c := range []struct {
			beanC float64
			heat  bool
		}{{234.9, true}, {235, false}, {233, false}, {232.1, false}, {231.9, true}, {234, true}} {
			r.set(probe, c.beanC)
			r.scan()
			if got := r.p.Value(point.AirHeaterPower) > 0; got != c.heat || !r.heating() || r.p.Value(point.RadiantPower) > 0 != c.heat {
				t.Errorf("%s at %v: heat %v, contactor %v", probe, c.beanC, got, r.heating())
			}
		}
	}
}

func TestAirHeaterNeedsItsAir(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.w.Out[point.BlowerSpeed] = 9.9
	r.set(point.AirFlow, 9.9)
	r.scan()
	if r.p.Value(point.AirHeaterPower) != 0 || r.p.Value(point.RadiantPower) == 0 || !r.heating() {
		t.Errorf("permitted: %v", r.p.Values())
	}
	r.runS(10) // a slow run-down is no lost air
	if r.g.Tripped() {
		t.Errorf("tripped: %v", r.g.Latched())
	}
	r.set(point.AirFlow, 4.9)
	if n := r.until("air_lost", 2); n != 5 {
		t.Errorf("air lost after %d scans", n)
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
	r.bad(point.EmergencyStopHealthy, point.Timeout, 2.1)
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

func TestWarnings(t *testing.T) {
	for _, f := range []fault{
		{id: "drum_slow", fromS: 5, toS: 9, on: func(r *rig) { r.share = 0.8 }, off: func(r *rig) { r.share = 1 }},
		broken(point.Exhaust, 1, "exhaust_probe"), broken(point.HeaterElement, 1, "element_probe"), broken(point.HighLimit, 1, "limit_probe"),
	} {
		r := newRig(t, fullMachine())
		r.roast()
		standing := func() bool { return slices.Contains(r.rec.Safety.Standing[:r.rec.Safety.NumStanding], f.id) }
		if f.quiet != nil {
			if f.quiet(r); standing() {
				t.Errorf("%s warns too soon", f.id)
			}
		}
		f.on(r)
		n := 0
		for ; !standing() && n < 200; n++ {
			r.scan()
		}
		if n--; n < int(f.fromS*10) || n > int(math.Max(f.fromS, f.toS)*10) {
			t.Errorf("%s warns after %d scans", f.id, n)
		}
		if r.g.Tripped() || !r.heating() || r.p.Value(point.Horn) != 0 {
			t.Errorf("%s does more than warn", f.id)
		}
		f.off(r)
		if r.runS(20); standing() {
			t.Errorf("%s stays", f.id)
		}
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
	r.g.Silence()
	horn(0, "when silenced")
	r.set(point.FireButton, 1)
	horn(1, "at a new trip")
	if r.rec.Safety.Trips != 1 || r.g.NumLatched() != 2 || r.g.First().ID != "bean_high" {
		t.Errorf("trips %d, first %s", r.rec.Safety.Trips, r.g.First().ID)
	}
}

func TestUncoveredRowsNeverTrip(t *testing.T) {
	m := fullMachine()
	m.HasIn, m.HasOut = [point.NumInputs]bool{}, [point.NumOutputs]bool{}
	for _, i := range [...]point.Input{point.Bean, point.InletAir, point.DrumSkin} {
		m.HasIn[i] = true
	}
	for _, o := range [...]point.Output{point.DrumRun, point.DrumSpeed, point.BlowerRun, point.AirHeaterPower, point.RadiantPower} {
		m.HasOut[o] = true
	}
	r := newRig(t, m)
	r.scan()
	r.wishRoast()
	r.w.Out[point.CoolingFan] = 1
	r.beans = true
	r.runS(20)
	if !r.heating() || r.g.Tripped() {
		t.Errorf("heat %v, latched %v: %q", r.heating(), r.g.Latched(), r.rec.Safety.HeldBack)
	}
	text := strings.Join(safety.Uncovered(m), "\n")
	for _, want := range []string{"drum_stall is not watched, for want of drum_pulses or drum_turning: ", "contactor_open is not watched, for want of contactor_closed and heat_enable: ",
		"heat_not_removed is not watched, for want of air_heater_current or radiant_current and mains_voltage and heat_enable: "} {
		if !strings.Contains(text, want) {
			t.Errorf("%q is not in\n%s", want, text)
		}
	}
	if got := safety.Uncovered(fullMachine()); got != nil {
		t.Errorf("a full machine lacks %v", got)
	}
	// A fan and a contactor that nothing can command are not judged either.
	m = fullMachine()
	m.HasOut[point.HeatEnable], m.HasOut[point.CoolingFan] = false, false
	r = newRig(t, m)
	r.set(point.CoolingFanRunning, 0)
	r.mirror = 1
	r.w.Out[point.CoolingFan] = 1
	if r.runS(10); r.g.Tripped() {
		t.Errorf("tripped: %v", r.g.Latched())
	}
}

func TestCeilings(t *testing.T) {
	m := fullMachine()
	m.Limits.BeanHigh, m.Limits.ExhaustHigh.At = profiles.Trip{At: 300, AfterS: 60}, profiles.Celsius(math.NaN())
	if got := safety.Lowered(m); len(got) != 3 || !strings.Contains(got[0], "limits.bean_high.at of 300 °C is lowered to the hard ceiling of 250 °C") {
		t.Errorf("%q", got)
	}
	if safety.Lowered(fullMachine()) != nil {
		t.Error("defaults are lowered")
	}
	if got := rowOf(t, m, "bean_high").AfterS; got != 5 {
		t.Errorf("the table says %v s", got)
	}
	r := newRig(t, m)
	r.roast()
	r.set(point.Bean, 250)
	if n := r.until("bean_high", 6); n != 50 {
		t.Errorf("after %d scans", n)
	}
	r = newRig(t, m)
	r.roast()
	r.set(point.Exhaust, 300)
	r.until("exhaust_high", 2)
}

// An on/off output has its share in its time: the coil must get a whole 1.
func TestOnOffOutputIsNotCut(t *testing.T) {
	m := fullMachine()
	m.Cycle[point.RadiantPower] = profiles.TimeProportion{PeriodS: 2}
	m.Heaters.Radiant.MaxDuty = 0.3
	r := newRig(t, m)
	r.scan()
	r.wishRoast()
	r.w.Out[point.RadiantPower], r.w.Out[point.AirHeaterPower] = 1, 1
	r.runS(7)
	if r.p.Value(point.RadiantPower) != 1 || r.p.Value(point.AirHeaterPower) != 0.9 {
		t.Errorf("permitted: %v", r.p.Values())
	}
	// Leakage is judged after a whole window of rest, not in its pauses.
	r.set(point.RadiantCurrent, 5)
	for range 40 {
		r.w.Out[point.RadiantPower] = 1
		r.runS(0.5)
		r.w.Out[point.RadiantPower] = 0
		r.runS(1.5)
	}
	if r.g.Tripped() {
		t.Errorf("tripped: %v", r.g.Latched())
	}
	r.runS(5)
	if !r.latched("radiant_current_unasked") {
		t.Error("a welded switch is not seen")
	}
	r = newRig(t, m) // without a believable voltage nothing is judged
	r.set(point.MainsVoltage, 49)
	r.set(point.RadiantCurrent, 5)
	if r.runS(10); r.g.Tripped() {
		t.Errorf("tripped: %v", r.g.Latched())
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

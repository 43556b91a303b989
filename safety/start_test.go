package safety_test

import (
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/profiles"
)

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
		"flow too low":         {func(r *rig) { r.set(point.AirFlow, 4.9) }, "too little air"},
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
	r.set(point.RadiantCurrent, 0.4) // more would not follow its command
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

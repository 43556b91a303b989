package safety_test

import (
	"math"
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

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

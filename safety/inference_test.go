package safety_test

import (
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/point"
)

// A strong heater is past its limit before its probe is: at 5 K/s a probe that
// lags by 4 s shows 20 K less (first-order lag on a ramp).
func TestInletLimitTakesTheProbesLagOff(t *testing.T) {
	m := fullMachine()
	r := newRig(t, m)
	r.roast()
	r.glide(point.InletAir, 300)
	r.runS(4) // the rig's temperatures jump into the roast
	m.Heaters.Air.ProbeLagS = 4
	r.ramp[point.InletAir] = 5
	for !r.g.Tripped() && r.lastBase[point.InletAir] < 400 {
		r.scan()
	}
	// From 330 °C on for the delay of 1 s.
	if c := r.lastBase[point.InletAir]; !r.latched("inlet_high") || c < 334.4 || c > 336 {
		t.Errorf("trips at %.1f °C by %v", c, r.g.Latched())
	}
}

// Of what the shaft did while the controller stood still nothing is known.
func TestAGapOfTheControllerIsNoStall(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.pulses += 10000 // more than is believed
	r.dt = 30
	r.scan()
	r.dt = 0.1
	r.runS(10)
	if r.latched("drum_stall") || !r.latched("scan_late") {
		t.Errorf("latched %v", r.g.Latched())
	}
	r.share = 0
	r.runS(5)
	if !r.latched("drum_stall") {
		t.Errorf("a stall after the gap is not seen: %v", r.g.Latched())
	}
}

// Where the bean probe tells of the charge, exchanged probes hide it.
func TestExchangedProbesHideNoCharge(t *testing.T) {
	peertest.OnceIsEnough(t)
	for _, x := range []struct {
		what                  string
		beanC, exhaustC, airC float64
		exhaustK, beanK, airK float64
		trips                 bool
	}{
		{"a charge behind exchanged probes", 180, 180, 200, 70, 40, 3, true},
		{"a charge seen by the bean probe", 180, 180, 200, 40, 70, 3, false},
		{"air that cools the exhaust first", 180, 180, 200, 70, 40, 60, false},
		{"all fall alike", 180, 180, 200, 60, 40, 3, false},
	} {
		t.Run(x.what, func(t *testing.T) {
			r := newRig(t, fullMachine())
			r.roast()
			r.beans, r.sinceS = false, 0
			r.set(point.Bean, x.beanC)
			r.set(point.Exhaust, x.exhaustC)
			r.set(point.InletAir, x.airC)
			r.runS(120) // what was before is forgotten
			r.ramp[point.Bean], r.ramp[point.Exhaust], r.ramp[point.InletAir] = -x.beanK/20, -x.exhaustK/20, -x.airK/20
			r.runS(20)
			if r.latched("bean_exhaust_swapped") != x.trips {
				t.Errorf("latched %v", r.g.Latched())
			}
		})
	}
}

// Probes of one converter jump together; those of another say nothing of it.
func TestAConverterIsJudgedByItsOwnProbes(t *testing.T) {
	for _, x := range []struct {
		what  string
		moved []point.Input
		trips bool
	}{
		{"all three of the converter", []point.Input{point.Bean, point.Exhaust, point.DrumSkin}, true},
		{"two of three", []point.Input{point.Bean, point.Exhaust}, false},
		{"those of the other", []point.Input{point.InletAir, point.HeaterElement}, false},
	} {
		t.Run(x.what, func(t *testing.T) {
			m := fullMachine()
			m.In[point.InletAir].Unit, m.In[point.HeaterElement].Unit = 9, 9
			r := newRig(t, m)
			r.roast()
			r.ramp[point.InletAir], r.ramp[point.HeaterElement] = 3, 8 // a machine that warms
			r.runS(3)
			for _, i := range x.moved {
				r.set(i, r.lastBase[i]+12)
			}
			r.runS(3)
			if r.latched("converter_shift") != x.trips {
				t.Errorf("latched %v", r.g.Latched())
			}
		})
	}
}

// A machine whose probes all warm at rates of their own has a converter all the
// same.
func TestAConverterJumpsInAWarmingMachine(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	rates := map[point.Input]float64{point.Bean: 0.3, point.InletAir: 4, point.DrumSkin: 0.5, point.Exhaust: 2, point.HeaterElement: 12}
	for i, k := range rates {
		r.ramp[i] = k
	}
	r.runS(5)
	if r.g.Tripped() {
		t.Fatalf("warming alone trips %v", r.g.Latched())
	}
	for i := range rates {
		r.set(i, r.lastBase[i]+8)
	}
	r.runS(0.5)
	if !r.latched("converter_shift") {
		t.Errorf("latched %v", r.g.Latched())
	}
}

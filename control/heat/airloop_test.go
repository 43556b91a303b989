package heat

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"drumwright/control/pid"
)

func newAirRun(t testing.TB, p AirLoopParams) *airRun {
	t.Helper()
	l, err := NewAirLoop(p)
	if err != nil {
		t.Fatal(err)
	}
	return &airRun{loop: l, plant: newAirPlant(p)}
}

// warmAir is a run that has been at 150 °C for long.
func warmAir(t testing.TB, p AirLoopParams) *airRun {
	r := newAirRun(t, p)
	r.forS(400, always(150), always(p.NominalFlowKgPerS))
	return r
}

func airMachines() map[string]AirLoopParams {
	return map[string]AirLoopParams{"small": smallAir, "large": largeAir}
}

// 150 to 250 °C over flows of 0.6 to 1.2: the study found overshoot 0.0 °C and
// 35 to 38 s to within 2 °C nominally, up to 2.4 °C and 65 s with element
// values off by 15 to 20 %, up to 2.4 °C with mains at -10 % already learned.
// Demanded are 3 °C at most. At 0.5 s scans it found up to 3.3 °C.
func TestAirStepUp(t *testing.T) {
	for _, tc := range []struct {
		name               string
		heat, hA, power    float64
		periodS            float64
		overshootK, settle float64
	}{
		{"nominal", 1, 1, 1, 0.1, 0.5, 42},
		{"heavier element", 1.2, 0.85, 1, 0.1, 3, 68},
		{"lighter element", 0.8, 1.15, 1, 0.1, 3, 65},
		{"mains at -10 % learned", 1, 1, 0.9, 0.1, 2.4, 42},
		{"slow scan", 1, 1, 1, 0.5, 0.5, 42},
		{"slow scan, heavier element", 1.2, 0.85, 1, 0.5, 3.3, 70},
	} {
		for name, p := range airMachines() {
			for _, share := range []float64{0.6, 1, 1.2} {
				p.PeriodS = tc.periodS
				r := newAirRun(t, p)
				r.plant.heatErr, r.plant.exchangeErr, r.plant.mains = tc.heat, tc.hA, math.Sqrt(tc.power)
				flow := always(share * p.NominalFlowKgPerS)
				r.forS(400, always(150), flow)
				s := r.forS(200, always(250), flow)
				over, settled := highest(s)-250, settledAfterS(s, 250, 2, p.PeriodS)
				t.Logf("%s, %s, flow share %g: overshoot %.2f K, within 2 K after %.0f s", tc.name, name, share, over, settled)
				if over > tc.overshootK || settled > tc.settle || math.Abs(s[len(s)-1]-250) > 0.5 {
					t.Errorf("%s, %s, flow share %g: overshoot %.2f K (allowed %g), within 2 K after %.0f s (allowed %g), end %.2f",
						tc.name, name, share, over, tc.overshootK, settled, tc.settle, s[len(s)-1])
				}
			}
		}
	}
}

// The study demands 4 °C for a flow change of 30 % over 10 s (found 1.6 to
// 3.1, 3.9 with the element's heat 20 % wrong).
func TestAirFlowRamp(t *testing.T) {
	for name, p := range airMachines() {
		for _, to := range []float64{0.7, 1.3} {
			for _, heatErr := range []float64{0.8, 1, 1.2} {
				r := newAirRun(t, p)
				r.plant.heatErr = heatErr
				from := 0.8 * p.NominalFlowKgPerS
				r.forS(600, always(250), always(from))
				s := r.forS(150, always(250), func(t float64) float64 { return from * (1 + (to-1)*min(1, t/10)) })
				up, down := highest(s)-250, 250-lowest(s)
				t.Logf("%s, flow x %g, element heat x %g: +%.2f and -%.2f K", name, to, heatErr, up, down)
				if up > 4 || down > 4 {
					t.Errorf("%s, flow x %g, element heat x %g: +%.2f and -%.2f K, allowed 4", name, to, heatErr, up, down)
				}
			}
		}
	}
}

// A mains drop of 10 % of power at once: 8 to 12 °C for under a minute without
// a meter in the study, next to nothing with one.
func TestAirMainsDrop(t *testing.T) {
	for name, p := range airMachines() {
		for _, meter := range []bool{false, true} {
			r := newAirRun(t, p)
			r.meter = meter
			flow := always(0.8 * p.NominalFlowKgPerS)
			r.forS(600, always(250), flow)
			r.plant.mains = math.Sqrt(0.9)
			s := r.forS(200, always(250), flow)
			dip, settled := 250-lowest(s), settledAfterS(s, 250, 2, p.PeriodS)
			if meter && dip > 1 {
				t.Errorf("%s with meter: dip %.2f K, allowed 1", name, dip)
			}
			if !meter && (dip < 4 || dip > 13 || settled > 60) {
				t.Errorf("%s without meter: dip %.2f K (expected 4 to 13), within 2 K after %.0f s (allowed 60)", name, dip, settled)
			}
			if !meter && math.Abs(r.out.Adaptation-(1/0.9/0.98-1)) > 0.03 {
				t.Errorf("%s: learned %.3f, the missing tenth is about 0.13", name, r.out.Adaptation)
			}
		}
	}
}

// From cold the set point is ramped from the reading: no power at first, no
// faster than the slew, no overshoot worth the name.
func TestAirColdStart(t *testing.T) {
	r := newAirRun(t, largeAir)
	r.plant.elementC, r.plant.ductC, r.plant.probeC, r.plant.intakeC = 20, 20, 20, 20
	first := r.forS(0.1, always(200), always(0.011))
	if r.out.Duty > 0.01 || math.Abs(first[0]-20) > 0.1 {
		t.Errorf("first scan: duty %.3f, want next to 0", r.out.Duty)
	}
	s := r.forS(300, always(200), always(0.011))
	for k := 10; k < len(s); k++ {
		if s[k]-s[k-10] > 4.4 {
			t.Fatalf("air rises by %.2f K within a second after %.1f s, slew is 4 K/s", s[k]-s[k-10], float64(k)*0.1)
		}
	}
	if over := highest(s) - 200; over > 1 {
		t.Errorf("overshoot %.2f K, allowed 1", over)
	}
}

// An unreachable set point for ten minutes, then a reachable one: nothing has
// wound up, upwards or downwards.
func TestAirSaturationDoesNotWindUp(t *testing.T) {
	for name, p := range airMachines() {
		for _, meter := range []bool{false, true} {
			r := warmAir(t, p)
			r.meter, r.plant.mains = meter, 0.9
			flow := always(1.4 * p.NominalFlowKgPerS)
			r.forS(600, always(450), flow)
			if !r.out.AtMax {
				t.Fatalf("%s: a set point of 450 °C at 1.4 flow should be out of reach", name)
			}
			s := r.forS(300, always(200), flow)
			if under, settled := 200-lowest(s), settledAfterS(s, 200, 2, 0.1); under > 3 || settled > 110 {
				t.Errorf("%s, meter %v: %.2f K below after saturation (allowed 3), within 2 K after %.0f s", name, meter, under, settled)
			}
			r.forS(600, always(10), flow) // cannot cool below the intake
			s = r.forS(300, always(200), flow)
			if over := highest(s) - 200; over > 3 {
				t.Errorf("%s, meter %v: overshoot %.2f K after a set point below the intake, allowed 3", name, meter, over)
			}
		}
	}
}

// A quarter of the power is missing for two minutes near the limit, then comes
// back: what the integral would have piled up must not be left to wear off.
func TestAirMainsDipAtTheLimit(t *testing.T) {
	r := newAirRun(t, largeAir)
	flow := always(largeAir.NominalFlowKgPerS)
	r.forS(800, always(335), flow)
	r.plant.mains = math.Sqrt(0.75)
	r.forS(120, always(335), flow)
	if !r.out.AtMax {
		t.Fatal("the limit is not reached, the case means nothing")
	}
	r.plant.mains = 1
	s := r.forS(300, always(335), flow)
	if over, settled := highest(s)-335, settledAfterS(s, 335, 2, 0.1); over > 3 || settled > 40 {
		t.Errorf("overshoot %.2f K (allowed 3), within 2 K after %.0f s (allowed 40)", over, settled)
	}
}

// The gate allows a fraction of the power for a while, which the loop learns by
// Track only: the reference stays where that power can take it, and nothing is
// learned from it.
func TestAirPartialCut(t *testing.T) {
	for name, p := range airMachines() {
		r := warmAir(t, p)
		flow := always(p.NominalFlowKgPerS)
		before := r.out.Adaptation
		r.cut = func(d float64) float64 { return min(d, 0.12) }
		s := r.forS(300, always(250), flow)
		if math.Abs(r.out.Adaptation-before) > 0.1 {
			t.Errorf("%s: learned %.2f while cut, from %.2f: the cut was taken for a weak heater", name, r.out.Adaptation, before)
		}
		if ahead := r.out.ReferenceC - s[len(s)-1]; math.Abs(ahead) > 6 {
			t.Errorf("%s: reference %.1f K off the air while cut, allowed 6", name, ahead)
		}
		r.cut = nil
		if over := highest(r.forS(300, always(250), flow)) - 250; over > 1 {
			t.Errorf("%s: overshoot %.2f K after the cut, allowed 1", name, over)
		}
	}
}

// An interlock takes the heat off for a minute and gives it back: what was
// learned stays, the way back starts from the reading without a jump.
func TestAirHeatOffAndOn(t *testing.T) {
	for name, p := range airMachines() {
		r := newAirRun(t, p)
		flow := always(p.NominalFlowKgPerS)
		r.forS(600, always(250), flow)
		learned := r.out.Adaptation
		r.cut = func(float64) float64 { return 0 }
		r.forS(60, always(250), flow)
		if math.Abs(r.out.Adaptation-learned) > 0.01 {
			t.Errorf("%s: learned value went from %.3f to %.3f while the heat was off", name, learned, r.out.Adaptation)
		}
		r.cut = nil
		n := len(r.duty)
		s := r.forS(200, always(250), flow)
		for k := n; k < n+20; k++ {
			if r.duty[k]-r.duty[k-1] > 0.1 {
				t.Errorf("%s: duty jumps by %.2f at the return of heat", name, r.duty[k]-r.duty[k-1])
			}
		}
		if over := highest(s) - 250; over > 3 || settledAfterS(s, 250, 2, 0.1) > 90 {
			t.Errorf("%s: overshoot %.2f K after heat came back (allowed 3), within 2 K after %.0f s", name, over, settledAfterS(s, 250, 2, 0.1))
		}
	}
}

func TestAirLowFlowCutsPower(t *testing.T) {
	for name, p := range airMachines() {
		r := newAirRun(t, p)
		n := p.NominalFlowKgPerS
		r.forS(600, always(250), always(n))
		r.forS(0.1, always(250), always(0.24*n))
		if r.out.Duty != 0 || !r.out.LowFlow || !r.out.AtMax {
			t.Errorf("%s: %+v in the scan the flow fell below a quarter, want duty 0", name, r.out)
		}
		r.forS(5, always(250), always(0.1*n))
		if r.out.Duty != 0 {
			t.Errorf("%s: duty %g at a tenth of the flow, want 0", name, r.out.Duty)
		}
		s := r.forS(200, always(250), always(n))
		// The element has kept its heat: what it gives at first is not the loop's.
		if over := highest(s[200:]) - 250; over > 4 {
			t.Errorf("%s: overshoot %.2f K after the air came back, allowed 4", name, over)
		}
	}
}

// Power at low flow is bounded by what the element stands, in Manual too.
func TestAirPowerLimitOverFlow(t *testing.T) {
	last := 0.0
	for _, share := range []float64{0.26, 0.4, 0.6, 1, 1.4} {
		l, err := NewAirLoop(smallAir)
		if err != nil {
			t.Fatal(err)
		}
		o := l.Step(AirIn{Mode: pid.Manual, ManualDuty: 1, MeasuredC: 25, IntakeC: 25, FlowKgPerS: share * 0.0035})
		// Steady element: intake + P/(G c eps) must not pass 700 °C.
		gc := share * 0.0035 * 1006
		elementC := 25 + o.PowerW/(gc*(1-math.Exp(-6*math.Pow(share, 0.6)/gc)))
		if o.PowerW <= last && o.PowerW < 1500 || elementC > 701 {
			t.Errorf("flow share %g: %g W, element at %.0f °C", share, o.PowerW, elementC)
		}
		last = o.PowerW
	}
	if last != 1500 {
		t.Errorf("at 1.4 flow %g W, want all of 1500", last)
	}
}

// The probe is bad for 3 s, at rest and during a step.
func TestAirHold(t *testing.T) {
	for name, p := range airMachines() {
		for _, setC := range []float64{150, 250} {
			r := warmAir(t, p)
			flow := always(p.NominalFlowKgPerS)
			r.forS(8, always(setC), flow)
			before := r.out.Duty
			for k := range 30 {
				o := r.loop.Hold()
				if k%2 == 1 { // a reading that is no number does the same
					o = r.loop.Step(AirIn{Mode: pid.Auto, SetC: setC, MeasuredC: math.NaN(), IntakeC: 25, FlowKgPerS: p.NominalFlowKgPerS})
				}
				if o.Duty != before {
					t.Fatalf("%s: duty %g while holding, want %g", name, o.Duty, before)
				}
				r.plant.step(o.Duty, p.NominalFlowKgPerS)
			}
			r.forS(0.1, always(setC), flow)
			if math.Abs(r.out.Duty-before) > 1e-9 {
				t.Errorf("%s: duty %g at the first good scan, want %g", name, r.out.Duty, before)
			}
			n := len(r.duty)
			s := r.forS(200, always(setC), flow)
			if kick := highest(r.duty[n:n+40]) - before; kick > 0.05 {
				t.Errorf("%s to %g: duty kicks by %.2f after a hold", name, setC, kick)
			}
			if over := highest(s) - setC; over > 5 {
				t.Errorf("%s to %g: overshoot %.2f K after a hold, allowed 5", name, setC, over)
			}
		}
	}
}

// From Manual into control, at any state: the first duty is the last one, and
// what follows does not stray.
func TestAirManualToAutoIsBumpless(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, err := NewAirLoop(smallAir)
		if err != nil {
			t.Fatal(err)
		}
		duty := rapid.Float64Range(0, 1).Draw(t, "duty")
		in := AirIn{Mode: pid.Manual, ManualDuty: duty, IntakeC: 25, FlowKgPerS: 0.0035}
		for range rapid.IntRange(0, 20).Draw(t, "auto scans before") {
			in.Mode, in.SetC, in.MeasuredC = pid.Auto, 200, rapid.Float64Range(20, 400).Draw(t, "y")
			l.Step(in)
		}
		in.Mode, in.MeasuredC = pid.Manual, rapid.Float64Range(20, 400).Draw(t, "y")
		m := l.Step(in)
		if math.Abs(m.Duty-min(duty, m.LimitW/1500)) > 1e-12 {
			t.Fatalf("manual duty %g, want %g", m.Duty, duty)
		}
		in.Mode = rapid.SampledFrom([]pid.Mode{pid.Auto, pid.Cascade}).Draw(t, "mode")
		in.SetC, in.RemoteC = rapid.Float64Range(20, 400).Draw(t, "set"), rapid.Float64Range(20, 400).Draw(t, "remote")
		if o := l.Step(in); math.Abs(o.Duty-m.Duty) > 1e-9 {
			t.Fatalf("duty went from %g to %g at the switch", m.Duty, o.Duty)
		}
	})
}

func TestAirManualAtRestToAuto(t *testing.T) {
	r := warmAir(t, smallAir)
	duty := r.out.Duty
	for range 600 { // a minute in Manual at the same duty
		r.loop.Step(AirIn{Mode: pid.Manual, ManualDuty: duty, MeasuredC: r.plant.read(), IntakeC: 25, FlowKgPerS: 0.0035})
		r.plant.step(duty, 0.0035)
	}
	s := r.forS(60, always(150), always(0.0035))
	if up, down := highest(s)-150, 150-lowest(s); up > 1.5 || down > 1.5 {
		t.Errorf("air strays +%.2f -%.2f K after a switch at rest, allowed 1.5", up, down)
	}
}

func TestAirCascadeUsesTheRemoteSetPoint(t *testing.T) {
	l, err := NewAirLoop(smallAir)
	if err != nil {
		t.Fatal(err)
	}
	in := AirIn{Mode: pid.Auto, SetC: 150, RemoteC: 260, MeasuredC: 150, IntakeC: 25, FlowKgPerS: 0.0035}
	for mode, want := range map[pid.Mode]float64{pid.Auto: 150, pid.Cascade: 260, pid.Manual: 150} {
		in.Mode = mode
		if o := l.Step(in); o.SetC != want {
			t.Errorf("%v: set point %g, want %g", mode, o.SetC, want)
		}
	}
}

// Whatever comes in, the duty is a number in 0..1 and the learned value stays
// in its bounds.
func TestAirDutyAlwaysInLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, err := NewAirLoop(smallAir)
		if err != nil {
			t.Fatal(err)
		}
		wild := rapid.OneOf(rapid.Float64Range(-50, 900), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e12, -1e12}))
		flow := rapid.OneOf(rapid.Float64Range(0, 0.02), rapid.SampledFrom([]float64{math.NaN(), 0, -1, 1e-300, 1e9}))
		for range rapid.IntRange(1, 60).Draw(t, "scans") {
			o := l.Step(AirIn{
				Mode: rapid.SampledFrom([]pid.Mode{pid.Manual, pid.Auto, pid.Cascade}).Draw(t, "mode"),
				SetC: wild.Draw(t, "set"), RemoteC: wild.Draw(t, "remote"), MeasuredC: wild.Draw(t, "y"), IntakeC: wild.Draw(t, "intake"),
				FlowKgPerS: flow.Draw(t, "flow"), MainsRatio: wild.Draw(t, "mains"), ManualDuty: wild.Draw(t, "manual"),
			})
			if !(o.Duty >= 0 && o.Duty <= 1) || !(o.Adaptation >= adaptMin && o.Adaptation <= adaptMax) {
				t.Fatalf("out of bounds: %+v", o)
			}
			if rapid.Bool().Draw(t, "cut") {
				l.Track(wild.Draw(t, "applied"))
			}
		}
	})
}

func TestAirStepDoesNotAllocate(t *testing.T) {
	r := warmAir(t, smallAir)
	in := AirIn{Mode: pid.Auto, SetC: 160, MeasuredC: 150, IntakeC: 25, FlowKgPerS: 0.0035}
	if n := testing.AllocsPerRun(100, func() { r.loop.Track(r.loop.Step(in).Duty) }); n != 0 {
		t.Errorf("%g allocations per scan, want 0", n)
	}
}

func BenchmarkAirStep(b *testing.B) {
	r := warmAir(b, smallAir)
	in := AirIn{Mode: pid.Auto, SetC: 160, MeasuredC: 150, IntakeC: 25, FlowKgPerS: 0.0035}
	b.ReportAllocs()
	for b.Loop() {
		r.loop.Track(r.loop.Step(in).Duty)
	}
}

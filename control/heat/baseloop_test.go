package heat

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"drumwright/control/pid"
)

type baseMachine struct {
	name            string
	p               BaseLoopParams
	linkWPerK, flow float64
}

func baseMachines() []baseMachine {
	return []baseMachine{{"small", smallBase, 8, 0.0035}, {"large", largeBase, 20, 0.011}}
}

func newBaseRun(t testing.TB, m baseMachine) *baseRun {
	t.Helper()
	l, err := NewBaseLoop(m.p)
	if err != nil {
		t.Fatal(err)
	}
	return &baseRun{loop: l, plant: newBasePlant(m.p, m.linkWPerK, m.flow)}
}

// warmBase is a run that has been at 180 °C for long.
func warmBase(t testing.TB, m baseMachine, inletC float64) *baseRun {
	r := newBaseRun(t, m)
	r.forS(3500, always(180), always(inletC))
	return r
}

// SIMC for an integrating process with the panel as second lag, computed
// independently (Python) at 800 K panel temperature.
func TestBaseTuning(t *testing.T) {
	for _, tc := range []struct {
		p            BaseLoopParams
		kc, tiS, tdS float64
	}{{smallBase, 13.3, 260, 187}, {largeBase, 34.6, 260, 197}} {
		s := tc.p.rule()
		if math.Abs(s.Kc/tc.kc-1) > 0.005 || math.Abs(s.TiS/tc.tiS-1) > 0.005 || math.Abs(s.TdS/tc.tdS-1) > 0.005 {
			t.Errorf("got %+v, want %g W/K, %g s, %g s", s, tc.kc, tc.tiS, tc.tdS)
		}
		tc.p.GainWPerK, tc.p.IntegralS, tc.p.DerivativeS = 5, 400, 90
		if g := tc.p.Gains(); g.Kc != 5 || g.TiS != 400 || g.TdS != 90 || g.N != BaseDerivativeN {
			t.Errorf("explicit gains came out as %+v", g)
		}
	}
}

// 180 to 220 °C: the study found overshoot 0.6 / 0.7 °C and within 2 °C after
// 509 / 507 s, 0.5 with the model 25 % off, 1.8 / 1.7 with mains at -10 %.
// Demanded are 2 °C. Its inlet temperature is not on record: none and 200 °C.
func TestBaseStepUp(t *testing.T) {
	for _, m := range baseMachines() {
		for _, tc := range []struct {
			name               string
			heat, loss, power  float64
			overshootK, settle float64
		}{
			{"nominal", 1, 1, 1, 1, 520},
			{"heavier drum", 1.25, 1.25, 1, 2, 700},
			{"lighter drum", 0.75, 0.75, 1, 2, 520},
			{"mains at -10 %", 1, 1, 0.9, 2, 700},
		} {
			for _, inletC := range []float64{25, 200} {
				r := newBaseRun(t, m)
				r.plant.heatErr, r.plant.lossErr, r.plant.mains = tc.heat, tc.loss, math.Sqrt(tc.power)
				cold := r.forS(3500, always(180), always(inletC))
				if over := highest(cold) - 180; over > 2.5 {
					t.Errorf("%s, %s, inlet %g: overshoot %.2f K from cold, allowed 2.5", m.name, tc.name, inletC, over)
				}
				s := r.forS(3000, always(220), always(inletC))
				over, settled := highest(s)-220, settledAfterS(s, 220, 2, 0.5)
				t.Logf("%s, %s, inlet %g: overshoot %.2f K, within 2 K after %.0f s", m.name, tc.name, inletC, over, settled)
				if over > tc.overshootK || settled > tc.settle || math.Abs(s[len(s)-1]-220) > 0.2 {
					t.Errorf("%s, %s, inlet %g: overshoot %.2f K (allowed %g), within 2 K after %.0f s (allowed %g), end %.2f",
						m.name, tc.name, inletC, over, tc.overshootK, settled, tc.settle, s[len(s)-1])
				}
			}
		}
	}
}

// The same at the scan of the machine, with the noise it brings to the panel.
func TestBaseStepUpAtTenScansPerSecond(t *testing.T) {
	for _, m := range baseMachines() {
		m.p.PeriodS = 0.1
		r := newBaseRun(t, m)
		r.forS(3000, always(180), always(25))
		if s := r.forS(1500, always(220), always(25)); highest(s) > 222 || math.Abs(s[len(s)-1]-220) > 0.3 {
			t.Errorf("%s: up to %.2f °C, end %.2f, allowed 222 and 220 within 0.3", m.name, highest(s), s[len(s)-1])
		}
	}
}

// Down into saturation: the panel goes dark, and the skin must not sink far
// below for want of its heat.
func TestBaseStepDown(t *testing.T) {
	for _, m := range baseMachines() {
		r := warmBase(t, m, 200)
		r.forS(3000, always(220), always(200))
		s := r.forS(4000, always(180), always(200))
		if under := 180 - lowest(s); under > 2 {
			t.Errorf("%s: %.2f K below after a step down, allowed 2", m.name, under)
		}
	}
}

// Air from 200 to 230 °C: the study found +1.1 / +1.3 °C with decoupling and
// about twice that without.
func TestBaseDecouplesTheAir(t *testing.T) {
	rise := func(m baseMachine) float64 {
		r := warmBase(t, m, 200)
		s := r.forS(1500, always(180), func(t float64) float64 { return 200 + min(30, 4*t) })
		return highest(s) - 180
	}
	for _, m := range baseMachines() {
		with := rise(m)
		truth := m
		m.p.GasExchangeWPerK = 0
		l, err := NewBaseLoop(m.p)
		if err != nil {
			t.Fatal(err)
		}
		r := &baseRun{loop: l, plant: newBasePlant(truth.p, m.linkWPerK, m.flow)}
		r.forS(3500, always(180), always(200))
		without := highest(r.forS(1500, always(180), func(t float64) float64 { return 200 + min(30, 4*t) })) - 180
		if with > 1.3 || without < 1.3*with {
			t.Errorf("%s: +%.2f K with decoupling (allowed 1.3), +%.2f without (expected clearly more)", m.name, with, without)
		}
	}
}

// Far too little power for the set point for two hours, then full power: no
// windup, the ramp has waited.
func TestBaseSaturationDoesNotWindUp(t *testing.T) {
	for _, m := range baseMachines() {
		for _, outside := range []bool{false, true} {
			r := newBaseRun(t, m)
			if outside {
				r.cut = func(d float64) float64 { return min(d, 0.5) }
			} else {
				r.meter, r.plant.mains = true, math.Sqrt(0.5)
			}
			s := r.forS(7200, always(220), always(25))
			last := s[len(s)-1]
			if last > 180 {
				t.Fatalf("%s: reaches %.0f °C, the case means nothing", m.name, last)
			}
			if ahead := r.out.ReferenceC - last; ahead > 8 {
				t.Errorf("%s, limit outside %v: the reference is %.1f K ahead of the skin, allowed 8", m.name, outside, ahead)
			}
			r.cut, r.plant.mains = nil, 1
			s = r.forS(4000, always(220), always(25))
			over := highest(s) - 220
			t.Logf("%s, limit outside %v: overshoot %.2f K after saturation", m.name, outside, over)
			if over > 2 {
				t.Errorf("%s, limit outside %v: overshoot %.2f K after saturation, allowed 2", m.name, outside, over)
			}
		}
	}
}

// Heat off for five minutes and back: what the integral has learned stays, no
// jump of the duty, no overshoot.
func TestBaseHeatOffAndOn(t *testing.T) {
	for _, m := range baseMachines() {
		r := warmBase(t, m, 25)
		r.cut = func(float64) float64 { return 0 }
		r.forS(300, always(180), always(25))
		r.cut = nil
		last := 0.0
		for k := range 20 {
			r.forS(0.5, always(180), always(25))
			if r.out.Duty-last > 0.15 {
				t.Errorf("%s: duty jumps by %.2f in scan %d after heat came back", m.name, r.out.Duty-last, k)
			}
			last = r.out.Duty
		}
		s := r.forS(3000, always(180), always(25))
		if over := highest(s) - 180; over > 2 || math.Abs(s[len(s)-1]-180) > 0.3 {
			t.Errorf("%s: overshoot %.2f K after heat came back (allowed 2), end %.2f", m.name, over, s[len(s)-1])
		}
	}
}

// The heat is cut while the skin is far behind: the reference comes back to
// the reading, and the way back is no slope. What is left is the integral.
func TestBaseCutLeavesOnlyTheIntegral(t *testing.T) {
	l, err := NewBaseLoop(smallBase)
	if err != nil {
		t.Fatal(err)
	}
	in := BaseIn{Mode: pid.Auto, SetC: 200, SkinC: 100, AmbientC: 25}
	var before BaseOut
	for range 400 { // until the ramp waits at the limit
		before = l.Step(in)
		l.Track(before.Duty)
	}
	l.Track(0)
	after := l.Step(in)
	if before.FeedbackW < 100 || math.Abs(after.FeedbackW) > 0.3*before.FeedbackW || after.PowerW > 1 {
		t.Errorf("feedback from %.0f W to %.0f W, power %.0f W; want little feedback and no power", before.FeedbackW, after.FeedbackW, after.PowerW)
	}
}

// A caller that never reports back gets the loop's own limits counted.
func TestBaseWithoutTrackDoesNotWindUp(t *testing.T) {
	l, err := NewBaseLoop(smallBase)
	if err != nil {
		t.Fatal(err)
	}
	in := BaseIn{Mode: pid.Auto, SetC: 200, SkinC: 100, AmbientC: 25}
	var early, late BaseOut
	for k := range 20000 {
		late = l.Step(in)
		if k == 1000 {
			early = late
		}
	}
	if !late.AtMax || late.FeedbackW > early.FeedbackW+100 {
		t.Errorf("feedback grew from %.0f W to %.0f W at the limit", early.FeedbackW, late.FeedbackW)
	}
}

func TestBaseHold(t *testing.T) {
	for _, m := range baseMachines() {
		r := warmBase(t, m, 200)
		before := r.out.Duty
		for range 20 {
			o := r.loop.Step(BaseIn{Mode: pid.Auto, SetC: 180, SkinC: math.NaN(), AmbientC: 25})
			if o.Duty != before {
				t.Fatalf("%s: duty %g while holding, want %g", m.name, o.Duty, before)
			}
			r.plant.step(o.Duty)
		}
		s := r.forS(0.5, always(180), always(200))
		if math.Abs(r.out.Duty-before) > 1e-9 {
			t.Errorf("%s: duty %g at the first good scan, want %g", m.name, r.out.Duty, before)
		}
		s = append(s, r.forS(600, always(180), always(200))...)
		if up, down := highest(s)-180, 180-lowest(s); up > 1 || down > 1 {
			t.Errorf("%s: +%.2f -%.2f K after a hold of 10 s, allowed 1", m.name, up, down)
		}
	}
}

// A bad inlet air reading keeps the last heat from the air and goes on.
func TestBaseBadInletReadingKeepsControl(t *testing.T) {
	r := warmBase(t, baseMachines()[0], 200)
	heat := r.out.AirHeatW
	o := r.loop.Step(BaseIn{Mode: pid.Auto, SetC: 180, SkinC: 179, AmbientC: 25, InletC: math.NaN(), FlowKgPerS: 0.0035})
	if o.AirHeatW != heat || heat < 5 || o.FeedbackW == r.out.FeedbackW {
		t.Errorf("heat from the air %g W, want the last %g; feedback %g W must move", o.AirHeatW, heat, o.FeedbackW)
	}
}

func TestBaseManualToAutoIsBumpless(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, err := NewBaseLoop(smallBase)
		if err != nil {
			t.Fatal(err)
		}
		in := BaseIn{AmbientC: 25, InletC: 200, FlowKgPerS: 0.0035}
		for range rapid.IntRange(0, 20).Draw(t, "auto scans before") {
			in.Mode, in.SetC, in.SkinC = pid.Auto, 200, rapid.Float64Range(20, 300).Draw(t, "y")
			l.Step(in)
		}
		in.Mode, in.SkinC, in.ManualDuty = pid.Manual, rapid.Float64Range(20, 300).Draw(t, "y"), rapid.Float64Range(0, 1).Draw(t, "duty")
		m := l.Step(in)
		if math.Abs(m.Duty-in.ManualDuty) > 1e-12 {
			t.Fatalf("manual duty %g, want %g", m.Duty, in.ManualDuty)
		}
		in.Mode = rapid.SampledFrom([]pid.Mode{pid.Auto, pid.Cascade}).Draw(t, "mode")
		in.SetC, in.RemoteC = rapid.Float64Range(20, 300).Draw(t, "set"), rapid.Float64Range(20, 300).Draw(t, "remote")
		o := l.Step(in)
		if math.Abs(o.Duty-m.Duty) > 1e-9 {
			t.Fatalf("duty went from %g to %g at the switch", m.Duty, o.Duty)
		}
		if want := in.Mode.SetPoint(in.SetC, in.RemoteC); o.SetC != want {
			t.Fatalf("set point %g in %v, want %g", o.SetC, in.Mode, want)
		}
	})
}

// A metered mains loss is made up at once: the same power in watts.
func TestBaseMeteredMains(t *testing.T) {
	r := warmBase(t, baseMachines()[0], 200)
	in := BaseIn{Mode: pid.Manual, ManualDuty: 1, SkinC: 180, AmbientC: 25, MainsRatio: 220.0 / 230}
	if o := r.loop.Step(in); math.Abs(o.PowerW/smallBase.MaxPowerW-0.915) > 0.0005 {
		t.Errorf("220 V of 230 V gives %.4f of the power, want 0.915 (its square)", o.PowerW/smallBase.MaxPowerW)
	}
}

func TestBaseDutyAlwaysInLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l, err := NewBaseLoop(smallBase)
		if err != nil {
			t.Fatal(err)
		}
		wild := rapid.OneOf(rapid.Float64Range(-50, 900), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e12, -1e12}))
		for range rapid.IntRange(1, 60).Draw(t, "scans") {
			o := l.Step(BaseIn{
				Mode: rapid.SampledFrom([]pid.Mode{pid.Manual, pid.Auto, pid.Cascade}).Draw(t, "mode"),
				SetC: wild.Draw(t, "set"), RemoteC: wild.Draw(t, "remote"), SkinC: wild.Draw(t, "y"), AmbientC: wild.Draw(t, "room"),
				InletC: wild.Draw(t, "inlet"), FlowKgPerS: wild.Draw(t, "flow"), MainsRatio: wild.Draw(t, "mains"), ManualDuty: wild.Draw(t, "manual"),
			})
			if !(o.Duty >= 0 && o.Duty <= 1) {
				t.Fatalf("out of bounds: %+v", o)
			}
			if rapid.Bool().Draw(t, "cut") {
				l.Track(wild.Draw(t, "applied"))
			}
		}
	})
}

func TestBaseStepDoesNotAllocate(t *testing.T) {
	l, err := NewBaseLoop(smallBase)
	if err != nil {
		t.Fatal(err)
	}
	in := BaseIn{Mode: pid.Auto, SetC: 200, SkinC: 180, AmbientC: 25, InletC: 200, FlowKgPerS: 0.0035}
	if n := testing.AllocsPerRun(100, func() { l.Track(l.Step(in).Duty) }); n != 0 {
		t.Errorf("%g allocations per scan, want 0", n)
	}
}

func BenchmarkBaseStep(b *testing.B) {
	l, err := NewBaseLoop(smallBase)
	if err != nil {
		b.Fatal(err)
	}
	in := BaseIn{Mode: pid.Auto, SetC: 200, SkinC: 180, AmbientC: 25, InletC: 200, FlowKgPerS: 0.0035}
	b.ReportAllocs()
	for b.Loop() {
		l.Track(l.Step(in).Duty)
	}
}

// Readings step by 0.1 °C and carry noise; the panel must not be thrown between
// its limits by them. The bound is ours: a tenth of full power, peak to peak a
// few times that.
func TestBaseDutyIsQuietInNoise(t *testing.T) {
	p := largeBase
	p.PeriodS = 0.1
	l, err := NewBaseLoop(p)
	if err != nil {
		t.Fatal(err)
	}
	b := newBasePlant(p, 20, 0.011)
	noisy := func(c float64) float64 { return math.Round((c+0.15*b.noise.NormFloat64())*10) / 10 }
	b.panelC, b.skinC, b.innerC, b.inletC = 480, 200, 200, 230
	var sum, sum2 float64
	n := 0
	for k := range 9000 {
		o := l.Step(BaseIn{Mode: pid.Auto, SetC: 200, SkinC: b.read(), AmbientC: noisy(25), InletC: noisy(230), FlowKgPerS: 0.011 * (1 + 0.005*b.noise.NormFloat64())})
		b.step(o.Duty)
		if k > 6000 {
			sum, sum2, n = sum+o.Duty, sum2+o.Duty*o.Duty, n+1
		}
	}
	mean := sum / float64(n)
	if sd := math.Sqrt(sum2/float64(n) - mean*mean); sd > 0.1 {
		t.Errorf("duty %.2f with a standard deviation of %.3f, allowed 0.1", mean, sd)
	} else {
		t.Logf("duty %.2f ± %.3f", mean, sd)
	}
}

package beanloop

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"drumwright/control/observe"
)

// in is a plain mid-roast measurement.
func in(sinceS float64) Input {
	return Input{SinceChargeS: sinceS, InletC: 245, SkinC: 216, FlowKgPerS: 0.011}
}

func TestStartRefusesBadSettings(t *testing.T) {
	l := new(Loop)
	p := DefaultParams(largeMachine())
	p.LowC, p.HighC, p.SlewKPerS, p.Machine.BatchKg = 300, 200, math.NaN(), -1
	err := l.Start(p, 200)
	if err == nil {
		t.Fatal("no error")
	}
	for _, name := range []string{"HighC", "SlewKPerS", "BatchKg"} {
		if !strings.Contains(err.Error(), name) {
			t.Errorf("error does not name %s: %v", name, err)
		}
	}
	if err := l.Start(DefaultParams(largeMachine()), math.NaN()); err == nil {
		t.Error("a NaN set point was accepted")
	}
	if out := l.Step(Target{}, observe.Estimate{}, in(100)); !out.Held {
		t.Errorf("a loop that was not started gives %+v", out)
	}
}

// A target that the present heat just follows must leave the set point at the
// inlet air already there: the error is zero, so the demand stays.
func TestHandOverIsBumpless(t *testing.T) {
	e := estimateAt()
	l := started(t, 245)
	first := l.Step(Target{NowC: e.ProbeC, AheadC: e.ProbeC, AheadKPerS: 0.3}, e, in(190))
	gas := observe.AirOf(&l.p.Machine, 245, 216, 0.011)
	flowing := gas.WPerK * gas.BedShare(e.HeatFactor) * (gas.AfterDrumC - e.BeanC)
	// The demand may move by one scan of its lag of 12 s or more, no further
	// (usual lag of this machine, from the study of this loop).
	if rel := math.Abs(first.DemandW/flowing - 1); rel > 0.02 {
		t.Errorf("first demand %.1f W, flowing %.1f W", first.DemandW, flowing)
	}
	if math.Abs(first.SetC-245) > 0.4+1e-9 {
		t.Errorf("first set point %.2f °C from 245", first.SetC)
	}
}

// Error poles of the study: natural frequency 0.0369 rad/s and damping 0.90
// with lag 30 s and time constant 30 s (computed independently, Python).
func TestGains(t *testing.T) {
	poles := func(tauC, k2, tau float64) (freq, damping float64) {
		freq = math.Sqrt(1/(tau*tauC) + k2/tau)
		return freq, (1/tau + 1/tauC) / (2 * freq)
	}
	g := DefaultGains() // the study's, with its own early time constant
	g.EarlyTauCS = 20
	for _, c := range []struct{ tS, tauC, k2 float64 }{
		{10, 20, 0.01125}, {100, 20, 0.01125}, {130, 25, 0.009}, {160, 30, 0.0075}, {600, 30, 0.0075},
	} {
		if tauC, k2 := g.At(c.tS); math.Abs(tauC-c.tauC) > 1e-12 || math.Abs(k2-c.k2) > 1e-12 {
			t.Errorf("at %g s tauC %g s, k2 %g 1/s, want %g, %g", c.tS, tauC, k2, c.tauC, c.k2)
		}
	}
	freq, damping := poles(30, 0.0075, 30)
	if math.Abs(freq-0.0369) > 1e-4 || math.Abs(damping-0.90) > 0.005 {
		t.Errorf("poles %g rad/s, damping %g", freq, damping)
	}
	for _, c := range []struct{ ductS, tauS, wantTauC float64 }{{2, 30, 24.45}, {2, 42, 29.4}, {6, 18, 36.45}} {
		tauC, k2 := GainsFor(6, c.ductS, 0.1, c.tauS).At(600)
		if math.Abs(tauC-c.wantTauC) > 1e-9 {
			t.Errorf("duct %g s, lag %g s: tauC %g s, want %g", c.ductS, c.tauS, tauC, c.wantTauC)
		}
		if _, d := poles(tauC, k2, c.tauS); k2 < 0 || (k2 > 0 && math.Abs(d-0.9) > 1e-9) {
			t.Errorf("duct %g s, lag %g s: k2 %g, damping %g, want 0.9", c.ductS, c.tauS, k2, d)
		}
	}
}

// At a limit the demand is the heat the limit gives, so that the loop comes
// off it in the first scan the curve allows.
func TestLimitsDoNotWindUp(t *testing.T) {
	e := estimateAt()
	near := Target{NowC: e.ProbeC, AheadC: e.ProbeC + 2, AheadKPerS: 0.3}
	for _, c := range []struct {
		name     string
		target   Target
		wantedC  float64
		low, top bool
	}{
		{"far too hot", Target{NowC: 300, AheadC: 300, AheadKPerS: 1}, 340, false, true},
		{"far too cold", Target{NowC: 30, AheadC: 30}, 120, true, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			l := started(t, 245)
			short := *l
			run := func(l *Loop, scans int) Output {
				var out Output
				for i := 0; i < scans; i++ {
					out = l.Step(c.target, e, in(190))
				}
				return out
			}
			out := run(l, 6000)
			if out.WantedC != c.wantedC || out.AtLow != c.low || out.AtHigh != c.top || out.Slewing || out.SetC != c.wantedC {
				t.Fatalf("at the limit: %+v", out)
			}
			run(&short, 600) // a tenth of the time at the same limit
			for i := 0; i < 50; i++ {
				a, b := l.Step(near, e, in(250)), short.Step(near, e, in(250))
				if a != b {
					t.Fatalf("scan %d after the limit depends on how long it lasted: %+v, %+v", i, a, b)
				}
			}
		})
	}
}

// A learned addition to the rate is asked for in full, and takes more heat.
func TestFeedForward(t *testing.T) {
	e, tg := estimateAt(), Target{NowC: 122, AheadC: 125, AheadKPerS: 0.33}
	with := tg
	with.FeedForwardKPS = 0.02
	if a, b := started(t, 245).Step(tg, e, in(190)), started(t, 245).Step(with, e, in(190)); math.Abs(b.WantedKPerS-a.WantedKPerS-0.02) > 1e-12 || b.DemandW <= a.DemandW {
		t.Errorf("wanted rate %g with 0.02 K/s added to %g, demand %g from %g W", b.WantedKPerS, a.WantedKPerS, b.DemandW, a.DemandW)
	}
}

func TestHeldOnBadInput(t *testing.T) {
	e, tg := estimateAt(), Target{NowC: 122, AheadC: 125, AheadKPerS: 0.33}
	l := started(t, 245)
	good := l.Step(tg, e, in(190))
	bad := e
	bad.BeanC = math.NaN()
	out := l.Step(tg, bad, in(190.1))
	if !out.Held || out.SetC != good.SetC {
		t.Errorf("with a NaN estimate %+v, want the set point %g held", out, good.SetC)
	}
	if out = l.Step(tg, e, in(190.2)); out.Held {
		t.Error("still held after the input came back")
	}
}

func TestSetPointInvariant(t *testing.T) {
	odd := rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300})
	pick := func(lo, hi float64) *rapid.Generator[float64] {
		return rapid.Custom(func(t *rapid.T) float64 {
			if rapid.IntRange(0, 30).Draw(t, "kind") == 0 {
				return odd.Draw(t, "odd")
			}
			return rapid.Float64Range(lo, hi).Draw(t, "plain")
		})
	}
	rapid.Check(t, func(t *rapid.T) {
		l := new(Loop)
		p := DefaultParams(largeMachine())
		p.Machine.GasShare = rapid.SampledFrom([]float64{0, 0.1}).Draw(t, "gasShare")
		if err := l.Start(p, rapid.Float64Range(0, 500).Draw(t, "presentC")); err != nil {
			t.Fatal(err)
		}
		last := l.out.SetC
		for n := rapid.IntRange(1, 60).Draw(t, "scans"); n > 0; n-- {
			e := estimateAt()
			e.BeanC = pick(20, 230).Draw(t, "beanC")
			e.RateKPerS = pick(-0.5, 1).Draw(t, "rate")
			tg := Target{NowC: pick(60, 230).Draw(t, "nowC"), AheadC: pick(60, 230).Draw(t, "aheadC"),
				AheadKPerS: pick(-0.1, 0.6).Draw(t, "slope"), FeedForwardKPS: pick(-0.06, 0.06).Draw(t, "ff")}
			m := Input{SinceChargeS: pick(0, 900).Draw(t, "t"), InletC: pick(100, 350).Draw(t, "inletC"),
				SkinC: pick(150, 280).Draw(t, "skinC"), FlowKgPerS: pick(0, 0.02).Draw(t, "flow")}
			out := l.Step(tg, e, m)
			if !(out.SetC >= p.LowC && out.SetC <= p.HighC) {
				t.Fatalf("set point %g °C outside %g to %g: %+v", out.SetC, p.LowC, p.HighC, out)
			}
			if math.Abs(out.SetC-last) > p.SlewKPerS*p.Machine.StepS+1e-9 {
				t.Fatalf("set point moved from %g to %g in one scan", last, out.SetC)
			}
			if math.IsNaN(l.demandW) && !l.fresh || math.IsInf(l.demandW, 0) && !l.fresh {
				t.Fatalf("demand %g W", l.demandW)
			}
			last = out.SetC
		}
	})
}

func TestStepNoAllocations(t *testing.T) {
	l, e := started(t, 245), estimateAt()
	if n := testing.AllocsPerRun(200, func() {
		l.Step(Target{NowC: 122, AheadC: 125, AheadKPerS: 0.33}, e, in(190))
	}); n != 0 {
		t.Errorf("%g allocations a scan", n)
	}
}

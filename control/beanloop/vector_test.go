package beanloop

import (
	"math"
	"testing"

	"drumwright/control/observe"
)

// smoothCurve is T(t) = TD - rf (tD - t) - B (exp(-t/θ) - exp(-tD/θ)), three
// falling-rate targets of a simulation study (Python, double precision).
type smoothCurve struct {
	name                     string
	dropS, dropC, endKPerMin float64
	thetaS, riseK            float64
	rateAt127, rateAtDrop    float64 // K/min, as printed
}

var smoothCurves = []smoothCurve{
	{"medium", 630, 210, 5, 220, 137.22773174412234, 26.0, 7.1},
	{"fast", 545, 205, 6, 200, 128.73153857193697, 26.5, 8.5},
	{"long", 715, 215, 4, 250, 158.90302063734234, 26.9, 6.2},
}

func (c smoothCurve) at(t float64) (v, s, b float64) {
	e := c.riseK * math.Exp(-t/c.thetaS)
	v = c.dropC - c.endKPerMin/60*(c.dropS-t) - e + c.riseK*math.Exp(-c.dropS/c.thetaS)
	return v, c.endKPerMin/60 + e/c.thetaS, -e / (c.thetaS * c.thetaS)
}

func close9(t *testing.T, name string, got, want float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > 1e-9*math.Abs(want) {
		t.Errorf("%s = %.17g, want %.17g", name, got, want)
	}
}

// largeMachine is the 1 kg machine of the check vector.
func largeMachine() observe.Params {
	p := observe.DefaultParams()
	p.HAGbWPerK, p.HADbWPerK, p.HAGdWPerK, p.G0KgPerS = 11.8, 1.51, 2.5, 0.011
	p.BatchKg = 1
	return p
}

// estimateAt is the estimate of the check vector.
func estimateAt() observe.Estimate {
	return observe.Estimate{
		BeanC: 128, ProbeC: 122, MoistureDB: 0.121, DryFraction: 0.9999, ReactionKJPerKg: 3.4,
		TauS: 30 * math.Exp(0.05), HeatFactor: math.Exp(-0.03), DisturbanceKPerS: 0.002,
		RateKPerS: 0.32, DryingPerS: -4e-5, Usable: true,
	}
}

func started(t testing.TB, setC float64) *Loop {
	t.Helper()
	l := new(Loop)
	if err := l.Start(DefaultParams(largeMachine()), setC); err != nil {
		t.Fatal(err)
	}
	return l
}

// Computed independently (Python, double precision) from the equations of the
// loop; a second program agreed in every digit.
func TestThreeCalls(t *testing.T) {
	target := smoothCurves[0]
	l := started(t, 245)
	for _, c := range []struct{ tS, in, skin, e, nu, q, set float64 }{
		{190.0, 245.0, 216.0, 2.0762705038111857, 0.3815604948927897, 803.6525209290561, 247.48879468730928},
		{190.1, 245.1, 216.0, 2.103639708619232, 0.3826328747139044, 804.2286925599337, 247.58692104131262},
		{190.2, 245.2, 216.1, 2.1309160856842846, 0.3837021159356365, 804.8197798734051, 247.66302909733278},
	} {
		var tg Target
		tg.NowC, _, _ = target.at(c.tS)
		tg.AheadC, tg.AheadKPerS, tg.AheadKPerS2 = target.at(c.tS + 6)
		if c.tS == 190 {
			close9(t, "target ahead", tg.AheadC, 125.36151918824177)
			close9(t, "slope ahead", tg.AheadKPerS, 0.33925219893495173)
			close9(t, "second derivative ahead", tg.AheadKPerS2, -0.0011632675709164473)
		}
		out := l.Step(tg, estimateAt(), Input{SinceChargeS: c.tS, InletC: c.in, SkinC: c.skin, FlowKgPerS: 0.011})
		close9(t, "e", out.ErrorK, c.e)
		close9(t, "wanted rate", out.WantedKPerS, c.nu)
		close9(t, "Q", out.DemandW, c.q)
		close9(t, "set point", out.WantedC, c.set)
		if out.AtLow || out.AtHigh || out.Held || !out.Slewing {
			t.Errorf("flags %+v", out)
		}
	}
	// 0.4 K a scan is the slew limit of 4 K/s.
	if got := l.out.SetC; math.Abs(got-246.2) > 1e-9 {
		t.Errorf("slewed set point %g °C after three scans from 245, want 246.2", got)
	}
}

func BenchmarkStep(b *testing.B) {
	l := started(b, 245)
	c, err := NewCurve(sample(smoothCurves[0], 120, 60))
	if err != nil {
		b.Fatal(err)
	}
	e := estimateAt()
	b.ReportAllocs()
	for b.Loop() {
		out := l.Step(Plan{Curve: c}.Target(190, 6), e, Input{SinceChargeS: 190, InletC: 245, SkinC: 216, FlowKgPerS: 0.011})
		if out.Held {
			b.Fatal(out)
		}
	}
}

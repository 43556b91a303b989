package beanloop

import (
	"math"
	"testing"
)

// The march against the machine of the closed-loop test left at the highest
// inlet air, whose own steps are fifty times finer and whose air lags otherwise.
func TestForecast(t *testing.T) {
	l, e := started(t, 340), estimateAt()
	c, err := NewCurve([]Point{{120, 95}, {240, 144}, {360, 174}, {480, 193}, {620, 290}})
	if err != nil {
		t.Fatal(err)
	}
	known := largeMachine()
	r := machine{p: known, heat: e.HeatFactor, tau: e.TauS, gasShare: known.GasShare, tS: 300, setC: 340, airC: 340, ductC: 340, inletProbeC: 340,
		skinC: 216, panelC: 600, beanC: e.BeanC, probeC: e.ProbeC, x: e.MoistureDB, s: e.DryFraction, he: e.ReactionKJPerKg}
	e.DisturbanceKPerS = 0
	now := Input{SinceChargeS: 300, InletC: 340, SkinC: 216, FlowKgPerS: 0.011, ExhaustC: 200}
	f := l.Forecast(e, now, Plan{Curve: c}, 400)
	for r.tS < 620 {
		r.step(0.1)
		r.skinC = 216
	}
	if want := 290 - r.probeC; math.Abs(f.ShortC-want) > 1.5 || !(f.LateS > 0) {
		t.Errorf("forecast %.1f °C short, %.0f s late; the machine ends %.1f °C short", f.ShortC, f.LateS, want)
	}
	weak := l.Forecast(e, now, Plan{Curve: c}, 300)
	l.p.ExhaustC = 220
	held := l.Forecast(e, now, Plan{Curve: c}, 400)
	if weak.ShortC < f.ShortC+5 || held.ShortC < f.ShortC+5 {
		t.Errorf("short by %.1f °C, with a weaker heater %.1f, held back by the exhaust %.1f", f.ShortC, weak.ShortC, held.ShortC)
	}
	easy, err := NewCurve([]Point{{120, 95}, {240, 130}, {360, 150}, {620, 160}})
	if err != nil {
		t.Fatal(err)
	}
	if f := l.Forecast(e, now, Plan{Curve: easy}, 400); f != (Forecast{}) {
		t.Errorf("a curve within reach: %+v", f)
	}
	if n := testing.AllocsPerRun(20, func() { l.Forecast(e, now, Plan{Curve: c}, 400) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

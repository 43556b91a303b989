package beanloop

import (
	"math"
	"testing"
)

// exhaustPlant is what lies between inlet set point and exhaust probe: air that
// follows with 6 s, a third of it in the gas behind the bed, two thirds the beans,
// a probe that lags by 25 s (the figures of the simulated machine).
type exhaustPlant struct{ airC, beanC, exhaustC, probeC float64 }

func (p *exhaustPlant) step(h, setC float64) {
	p.airC += h / 6 * (setC - p.airC)
	p.exhaustC = p.airC/3 + 2*p.beanC/3
	p.probeC += h / 25 * (p.exhaustC - p.probeC)
}

// A curve that asks for all the heat there is: the exhaust comes to rest at its
// limit, does not reach the gate's six kelvins above, and does not swing; while
// the beans go on climbing the inlet air is taken back. Far below the limit
// nothing is held back.
func TestExhaustIsHeldBack(t *testing.T) {
	const limitC, h = 236.0, 0.1
	p := DefaultParams(largeMachine())
	p.ExhaustC = limitC
	l := started(t, 250)
	l.p = p
	e := estimateAt()
	x := exhaustPlant{airC: 250, beanC: 170, probeC: 196}
	ask := Target{NowC: 240, AheadC: 260, AheadKPerS: 2}
	var out Output
	step := func(beanKPerS float64) {
		x.beanC += h * beanKPerS
		x.step(h, out.SetC)
		e.BeanC, e.ProbeC = x.beanC, x.beanC-5
		out = l.Step(ask, e, Input{SinceChargeS: 400, InletC: x.airC, SkinC: 230, FlowKgPerS: 0.011, ExhaustC: x.probeC})
	}
	out.SetC = 250
	if step(0); out.ByExhaust {
		t.Errorf("held back with the exhaust %.0f K below its limit", limitC-x.probeC)
	}
	highC, turns, was, falling := 0.0, 0, x.probeC, false
	for range 3000 {
		step(0.12 * math.Max(0, 1-(x.beanC-170)/40))
		highC = math.Max(highC, x.exhaustC)
		if d := x.probeC - was; math.Abs(d) > 0.5 {
			if (d < 0) != falling {
				turns++
			}
			falling, was = d < 0, x.probeC
		}
	}
	t.Logf("exhaust at most %.1f °C, at the end %.1f, inlet %.0f, beans %.0f °C, %d turns", highC, x.probeC, x.airC, x.beanC, turns)
	if !out.ByExhaust || !out.AtHigh {
		t.Errorf("not told that the exhaust holds back: %+v", out)
	}
	if highC > limitC+4 || math.Abs(x.probeC-limitC) > 2 || turns > 2 {
		t.Errorf("exhaust at most %.1f °C, at the end %.1f, %d turns; limit %.0f", highC, x.probeC, turns, limitC)
	}
	if out = l.Step(ask, e, Input{SinceChargeS: 400, InletC: x.airC, SkinC: 230, FlowKgPerS: 0.011, ExhaustC: math.NaN()}); out.ByExhaust || out.Held {
		t.Errorf("without a reading: held back by it %v, loop held %v", out.ByExhaust, out.Held)
	}
}

package beanloop

import (
	"math"
	"testing"
)

// Hand calculations on a straight curve, 100 °C at 100 s to 200 °C at 600 s.
func TestPlan(t *testing.T) {
	c, err := NewCurve([]Point{{100, 100}, {350, 150}, {600, 200}})
	if err != nil {
		t.Fatal(err)
	}
	own := Plan{Curve: c}
	near := func(what string, got, want, within float64) {
		t.Helper()
		if !(math.Abs(got-want) <= within) {
			t.Errorf("%s: %.4f, want %.4f", what, got, want)
		}
	}
	at := func(p Plan, s float64) float64 { v, _, _ := p.At(s); return v }
	rate := func(p Plan, s float64) float64 { _, v, _ := p.At(s); return v }
	near("as it is", at(own, 400), 160, 0.3)

	hotter := Plan{c, own.Amend(400, at(own, 400), 600, 204)}
	near("hotter: now", at(hotter, 400), at(own, 400), 1e-9)
	near("hotter: half way", at(hotter, 500), 182, 0.4)
	near("hotter: end", hotter.EndC(), 204, 1e-9)
	near("hotter: rate", rate(hotter, 500), 0.22, 0.002)
	near("hotter: reached", hotter.ReachS(400, 182), 500, 2)
	near("hotter: before", at(hotter, 300), at(own, 300), 0)

	later := Plan{c, own.Amend(400, 155, 700, 200)}
	near("later: now", at(later, 400), 155, 1e-9)
	near("later: half way", at(later, 550), 177.5, 0.3)
	near("later: end", at(later, 700), 200, 1e-9)
	near("later: rate", rate(later, 550), 45.0/300, 0.003)
	near("later: curve's time", later.CurveTimeS(550), 500, 1e-9)
	near("later: past its end", at(later, 710), 201.5, 0.1)

	// An amendment of an amended plan begins where that one is.
	both := Plan{c, later.Amend(550, at(later, 550), 700, 203)}
	near("both: now", at(both, 550), at(later, 550), 1e-9)
	near("both: end", both.EndC(), 203, 1e-9)
	near("both: curve's time", both.CurveTimeS(625), 550, 1e-9)
	if s := later.LeastKPerS(400); !(s > 0.1) {
		t.Errorf("least rate %g", s)
	}
	// The slope is that of the values.
	for s := 405.0; s < 690; s += 20 {
		near("slope", (at(both, s+0.5)-at(both, s-0.5))-rate(both, s)*1, 0, 0.05*map[bool]float64{true: 10, false: 1}[s > 545 && s < 555]+1e-4)
	}
	if n := testing.AllocsPerRun(50, func() { both.Target(600, 6) }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

package preflight

import (
	"math"
	"testing"

	"drumwright/control"
	"drumwright/control/bean"
	"drumwright/io/point"
)

// One right-hand side of the lumped roaster (Schwartzberg 2002 form as quoted in
// Vosloo 2017, original not seen; figures computed independently in Python, double
// precision, from the stated equations, for a drum of 1 kg).
func TestOneRightHandSide(t *testing.T) {
	m, r := load(t, "heron-1000", "harbour-medium")
	p := control.ModelOf(m, r, nil)
	b, base := &p.Bed, &p.Base
	b.HAGbWPerK, b.HADbWPerK, b.HAGdWPerK, b.G0KgPerS, b.BatchKg = 11.8, 1.51, 2.5, 0.011, 1
	b.MoistureDB, b.GasShare, b.ProbeTauS = 0.11/0.89, 0.10, 30
	base.DrumHeatJPerK, base.DrumLossWPerK, base.PanelHeatJPerK, base.PanelAreaM2, base.PanelEmissivity, base.PanelLossWPerK = 2000, 1.6, 900, 0.05, 0.7, 0.5
	x := newModel(m, p)
	x.roomC, x.flow, x.dryKg = 25, 0.011, bean.DryMassKg(1, 0.11/0.89)
	x.beanC, x.moistureDB, x.dry, x.reacted = 150, 0.110, 0.999, 10
	x.drumC, x.panelC, x.ductC, x.probeC, x.exhaustC = 230, 450, 290, 150, 190
	// The element as it must be for air that stays as it is.
	gc := x.flow * bean.AirCpJPerKgK((290.0+25)/2)
	x.elementC = 25 + (290-25)/(p.Air.ReachShare()*p.Air.AirShare(x.flow, gc))
	x.baseW = 1000
	was := *x
	const h = 1e-4
	x.step(h, 0.011)
	for _, c := range []struct {
		name      string
		was, now  float64
		want, tol float64
	}{
		{"bean", was.beanC, x.beanC, 0.299627, 2e-6},
		{"moisture", was.moistureDB, x.moistureDB, -1.85265e-04, 1e-9},
		{"dry matter", was.dry, x.dry, -1.58255e-05, 1e-9},
		{"reaction", was.reacted, x.reacted, 0.125947, 1e-6},
		{"drum", was.drumC, x.drumC, 0.0507716, 2e-6},
		{"panel", was.panelC, x.panelC, 0.413281, 2e-6},
		{"probe", was.probeC, x.probeC, 0.153018, 2e-6},
		{"exhaust", was.exhaustC, x.exhaustC, 0.236219, 2e-6},
	} {
		if got := (c.now - c.was) / h; math.Abs(got-c.want) > c.tol {
			t.Errorf("%s: %.7g per s, want %.7g", c.name, got, c.want)
		}
	}
	if math.Abs(x.outC-195.905) > 5e-4 {
		t.Errorf("air after the bed %.4f °C, want 195.905", x.outC)
	}
}

// A machine that was brought to its charge temperatures stays there under the
// heat that this takes.
func TestWarmMachineStays(t *testing.T) {
	m, r := load(t, "heron-1000", "harbour-medium")
	x := newModel(m, control.ModelOf(m, r, nil))
	x.warm(&r.Charge)
	gc := x.flow * bean.AirCpJPerKgK((x.ductC+x.roomC)/2)
	x.airW = gc * (x.ductC - x.roomC) / x.p.Air.ReachShare()
	k, d := x.panelC+bean.KelvinOffset, x.drumC+bean.KelvinOffset
	x.baseW = x.p.Base.RadiationWPerK4()*(k*k*k*k-d*d*d*d) + x.p.Base.PanelLossWPerK*(x.panelC-x.roomC)
	was := *x
	for range 3000 {
		x.step(substepS, was.flow)
	}
	var img [2]float64
	img[0], img[1] = x.inletC-was.inletC, x.skinC-was.skinC
	for i, role := range [...]point.Input{point.InletAir, point.DrumSkin} {
		if math.Abs(img[i]) > 1 {
			t.Errorf("%s moved by %.2f K in 300 s", role, img[i])
		}
	}
}

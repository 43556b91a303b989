package preflight

import (
	"math"

	"drumwright/control"
	"drumwright/control/bean"
	"drumwright/control/observe"
	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

const (
	usualRoomC = 22.0
	substepS   = 0.1
	// flowLagS is how long the air takes to follow the blower (common practice,
	// no source).
	flowLagS = 1.0
	// skinProbeS and exhaustProbeS are lags of usual probes (common practice, no
	// source); the machine file gives only those that loops need.
	skinProbeS, exhaustProbeS = 3.0, 25.0
)

// model is the machine as the controller takes it: one element, one duct, one
// drum, one panel, one bed, and the kinetics of the estimator.
type model struct {
	m *profiles.Machine
	p control.Model

	roomC                    float64 // room, green beans and intake air
	flow                     float64 // kg/s
	elementC, ductC, inletC  float64 // inletC is the inlet probe
	panelC, drumC, skinC     float64 // skinC is the skin probe
	beanC, probeC            float64
	moistureDB, dry, reacted float64
	outC, exhaustC           float64
	dryKg                    float64 // 0 = no beans

	airW, baseW   float64
	airJ, radiant float64 // heat used so far, J
}

func newModel(m *profiles.Machine, p control.Model) *model {
	x := &model{m: m, p: p, roomC: usualRoomC}
	for _, t := range []*float64{&x.elementC, &x.ductC, &x.inletC, &x.panelC, &x.drumC, &x.skinC, &x.beanC, &x.probeC, &x.outC, &x.exhaustC} {
		*t = x.roomC
	}
	return x
}

// warm brings an empty machine to where a preheat would have: skin and inlet air
// at their charge temperatures, element and panel as hot as that needs.
func (x *model) warm(c *profiles.Charge) {
	skin, air, flow := float64(c.Skin), float64(c.Air), x.p.Bed.G0KgPerS
	if c.Flow > 0 {
		flow = float64(c.Flow) / 3600
	}
	x.flow = flow
	x.ductC, x.inletC, x.drumC, x.skinC = air, air, skin, skin
	gas := observe.AirOf(&x.p.Bed, air, skin, flow)
	gc := flow * bean.AirCpJPerKgK(air)
	x.elementC = x.roomC + (air-x.roomC)/(x.p.Air.ReachShare()*x.p.Air.AirShare(flow, gc))
	x.outC, x.probeC, x.exhaustC = gas.AfterDrumC, gas.AfterDrumC, gas.AfterDrumC
	// The panel makes up for what the drum loses, less what the air gives.
	needW := math.Max(0, x.p.Base.DrumLossWPerK*(skin-x.roomC)-gas.WPerK*gas.DrumShare*(air-skin))
	k := skin + bean.KelvinOffset
	x.panelC = math.Pow(needW/x.p.Base.RadiationWPerK4()+k*k*k*k, 0.25) - bean.KelvinOffset
}

// charge lets the green beans in.
func (x *model) charge() {
	b := &x.p.Bed
	x.beanC, x.moistureDB, x.dry, x.reacted = x.roomC, b.MoistureDB, 1, 0
	x.dryKg = bean.DryMassKg(b.BatchKg, b.MoistureDB)
}

func (x *model) loss() float64 {
	if x.dryKg == 0 {
		return 0
	}
	return bean.LossFraction(x.dry, x.moistureDB, x.p.Bed.MoistureDB)
}

// advance moves the model by a scan under what the gate let through.
func (x *model) advance(periodS float64, permit *safety.Permit) {
	x.airW, x.baseW = 0, 0
	if permit.Value(point.HeatEnable) >= 0.5 {
		x.airW = permit.Value(point.AirHeaterPower) * x.p.Air.MaxPowerW
		x.baseW = permit.Value(point.RadiantPower) * x.p.Base.MaxPowerW
	}
	flow := 0.0
	if permit.Value(point.BlowerRun) >= 0.5 {
		flow = x.m.FlowKgPerS(permit.Value(point.BlowerSpeed))
	}
	x.airJ += x.airW * periodS
	x.radiant += x.baseW * periodS
	n := math.Max(1, math.Round(periodS/substepS))
	for range int(n) {
		x.step(periodS/n, flow)
	}
}

func (x *model) step(h, flow float64) {
	bed, air, base := &x.p.Bed, &x.p.Air, &x.p.Base
	lag := func(v *float64, to, tauS float64) {
		if tauS > 0 {
			*v += -math.Expm1(-h/tauS) * (to - *v)
		} else {
			*v = to
		}
	}
	lag(&x.flow, flow, flowLagS)
	moved := math.Max(x.flow, 0.02*bed.G0KgPerS) // some draught always

	// Element and duct.
	gc := moved * bean.AirCpJPerKgK((x.ductC+x.roomC)/2)
	rise := air.AirShare(moved, gc) * (x.elementC - x.roomC)
	x.elementC += h * (x.airW - gc*rise) / air.ElementHeatJPerK
	lag(&x.ductC, x.roomC+air.ReachShare()*rise, air.DuctS(moved))
	lag(&x.inletC, x.ductC, air.ProbeTauS)

	// Gas past the drum, then through the bed.
	gas := observe.AirOf(bed, x.ductC, x.drumC, moved)
	x.outC = gas.AfterDrumC
	fromDrum := 0.0
	if x.dryKg > 0 {
		share, k := gas.BedShare(1), bed.Kinetics
		fromGas := gas.WPerK * share * (gas.AfterDrumC - x.beanC)
		x.outC -= share * (gas.AfterDrumC - x.beanC)
		fromDrum = bed.HADbWPerK * (x.drumC - x.beanC)
		dX, dS, q := k.DryingRatePerS(x.moistureDB, x.beanC), k.DryLossRatePerS(x.dry, x.beanC), k.ExothermKWPerKg(x.reacted, x.beanC)
		dry := x.dryKg * x.dry
		heat := fromGas + fromDrum + 1000*dry*(q+bean.VaporisationKJPerKg*dX)
		x.beanC += h * heat / (dry * bean.DryHeatCapacityJPerKgK(x.beanC, x.moistureDB))
		x.moistureDB += h * dX
		x.dry += h * dS
		x.reacted += h * q
		lag(&x.probeC, (1-bed.GasShare)*x.beanC+bed.GasShare*x.outC, bed.ProbeTauS)
	} else {
		lag(&x.probeC, x.outC, bed.ProbeTauS)
	}
	lag(&x.exhaustC, x.outC, exhaustProbeS)

	// Panel and drum.
	hot, cold := x.panelC+bean.KelvinOffset, x.drumC+bean.KelvinOffset
	radiated := base.RadiationWPerK4() * (hot*hot*hot*hot - cold*cold*cold*cold)
	x.panelC += h * (x.baseW - radiated - base.PanelLossWPerK*(x.panelC-x.roomC)) / base.PanelHeatJPerK
	x.drumC += h * (radiated - base.DrumLossWPerK*(x.drumC-x.roomC) + gas.WPerK*gas.DrumShare*(x.ductC-x.drumC) - fromDrum) / base.DrumHeatJPerK
	lag(&x.skinC, x.drumC, skinProbeS)
}

// seen are the points that the model can show. Whatever else the machine has,
// the controller of the preflight is told that it has not.
var seen = [...]point.Input{point.Bean, point.InletAir, point.DrumSkin, point.Exhaust, point.Ambient, point.AirFlow}

// show fills the image of one scan.
func (x *model) show(img *point.Image) {
	for i, v := range [...]float64{x.probeC, x.inletC, x.skinC, x.exhaustC, x.roomC, x.flow * 3600} {
		if x.m.HasIn[seen[i]] {
			img.In[seen[i]] = point.Value{V: v, Quality: point.Good}
		}
	}
}

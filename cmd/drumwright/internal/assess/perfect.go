package assess

import (
	"fmt"
	"math"

	"drumwright/control"
	"drumwright/control/bean"
	"drumwright/control/beanloop"
	"drumwright/control/heat"
	"drumwright/control/observe"
	"drumwright/control/pid"
	"drumwright/control/plant"
	"drumwright/io/record"
)

// perfect leads the inlet air as the controller would if it knew the state of
// the true machine and all its figures, within the same limits. What it cannot
// do is out of the machine's reach. It turns the air heater by hand commands,
// so that all else stays the controller's.
type perfect struct {
	p       plant.Params
	air     *heat.AirLoop
	loop    beanloop.Loop
	set     beanloop.Params
	curve   *beanloop.Curve
	closed  bool
	limited bool
	setC    float64
}

func newPerfect(c *Cell, p *plant.Params) (*perfect, error) {
	m := c.Size.Machine
	l := &m.Loops
	mains := math.Pow(p.MainsV/p.NominalV, 2)
	air, err := heat.NewAirLoop(heat.AirLoopParams{
		PeriodS: float64(m.Scan.PeriodS), MaxPowerW: p.AirHeaterMaxW * mains, ElementHeatJPerK: p.ElementJPerK,
		ElementHAWPerK: p.ElementWPerK, NominalFlowKgPerS: p.AirKgPerS, DuctLagS: float64(m.Heaters.Air.DuctLagS),
		ProbeTauS: p.InletProbeS, Efficiency: 1 - p.DuctLossFrac, SlewKPerS: float64(l.Air.Slew),
	})
	if err != nil {
		return nil, err
	}
	known := observe.DefaultParams()
	known.HAGbWPerK, known.HADbWPerK, known.HAGdWPerK = p.GasBedWPerK, p.SkinBedWPerK, p.GasSkinWPerK
	known.G0KgPerS, known.BatchKg = p.AirKgPerS, float64(c.Size.Charge.Green)*(1+c.Off.MassFrac)
	known.MoistureDB, known.GasShare, known.ProbeTauS = bean.MoistureDryBasis(p.MoistureWB), p.GasShare, p.BeanProbeS
	known.Kinetics, known.StepS = p.Kinetics, float64(m.Scan.PeriodS)
	set := beanloop.DefaultParams(known)
	set.LookS = float64(l.Bean.LookS)
	set.Gains = beanloop.GainsFor(set.LookS, float64(m.Heaters.Air.DuctLagS), known.StepS, known.ProbeTauS)
	set.LowC, set.HighC, set.SlewKPerS = float64(l.Air.MinSet), float64(l.Air.MaxSet), float64(l.Air.Slew)
	set.ExhaustC = control.ExhaustMostC(m)
	points := make([]beanloop.Point, 0, 16)
	for _, pt := range c.Curve.points() {
		points = append(points, beanloop.Point{TimeS: float64(pt.AtS), TempC: float64(pt.Bean)})
	}
	curve, err := beanloop.NewCurve(points)
	if err != nil {
		return nil, err
	}
	return &perfect{p: *p, air: air, set: set, curve: curve}, nil
}

// lead runs before each scan of the controller.
func (k *perfect) lead(b *batch) {
	truth, r := b.field.machine.Truth(), b.field.machine.Readings()
	in := heat.AirIn{Mode: pid.Manual, ManualDuty: b.rec.Air.Duty, SetC: k.setC, RemoteC: k.setC,
		MeasuredC: r.InletProbe.C, IntakeC: k.p.AmbientC, FlowKgPerS: truth.AirKgPerS}
	sinceS := b.rec.Batch.SinceS + float64(b.cell.Size.Machine.Scan.PeriodS)
	if b.rec.State != "roasting" || sinceS < float64(b.cell.Size.Machine.Loops.Bean.CloseS) {
		k.setC = b.rec.Air.SetC
		in.SetC, in.RemoteC = k.setC, k.setC
		k.air.Step(in)
		return
	}
	if !k.closed {
		if err := k.loop.Start(k.set, k.setC); err != nil {
			b.field.err = fmt.Errorf("loop with perfect knowledge: %w", err)
			return
		}
		k.closed = true
	}
	out := k.loop.Step(beanloop.Plan{Curve: k.curve}.Target(sinceS, k.set.LookS), k.estimate(&truth, r.BeanProbe.C),
		beanloop.Input{SinceChargeS: sinceS, InletC: truth.InletC, SkinC: truth.SkinC, FlowKgPerS: truth.AirKgPerS, ExhaustC: r.ExhaustProbe.C})
	k.setC = out.SetC
	in.Mode, in.SetC, in.RemoteC = pid.Cascade, out.SetC, out.SetC
	a := k.air.Step(in)
	k.limited = out.AtHigh || out.AtLow || a.Duty >= dutyMax || a.Duty <= 0
	b.cmds = append(b.cmds, control.Command{Command: record.Command{Kind: record.SetManual, Loop: "air", Value: min(max(a.Duty, 0), 1), Who: "assess", Local: true}})
}

// estimate is the truth in the form of an estimate.
func (k *perfect) estimate(t *plant.Truth, probeC float64) observe.Estimate {
	kin := k.p.Kinetics
	return observe.Estimate{
		BeanC: t.BeanC, RateKPerS: t.BeanKPerS, ProbeC: probeC,
		MoistureDB: t.MoistureDB, DryingPerS: kin.DryingRatePerS(t.MoistureDB, t.BeanC), DryFraction: t.DryFraction, ReactionKJPerKg: t.ReleasedKJPerKg,
		TauS: k.p.BeanProbeS, HeatFactor: k.p.HeatTransfer, Usable: true,
	}
}

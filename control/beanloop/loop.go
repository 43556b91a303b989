package beanloop

import (
	"errors"
	"fmt"
	"math"

	"drumwright/control/bean"
	"drumwright/control/observe"
)

// Params is what the loop needs to know. Machine must be the same description
// the estimator was started with.
type Params struct {
	Machine observe.Params
	Gains   Gains
	// LookS is how far ahead the target and the bean are taken: the lag of the
	// air loop behind its set point. More preview than that made tracking worse.
	LookS float64
	// LowC and HighC limit the inlet air set point.
	LowC, HighC float64
	// ExhaustC is where the exhaust is to stay, °C; 0 = no such limit. The inlet
	// air is held back smoothly before it gets there.
	ExhaustC float64
	// SlewKPerS limits how fast the set point moves.
	SlewKPerS float64
}

// DefaultParams returns the loop settings of the simulation study behind this
// loop (look 6 s, inlet 120 to 340 °C, slew 4 K/s) for a machine.
func DefaultParams(machine observe.Params) Params {
	return Params{Machine: machine, Gains: DefaultGains(), LookS: 6, LowC: 120, HighC: 340, SlewKPerS: 4}
}

// Validate reports every setting the loop cannot work with, machine included.
func (p Params) Validate() error {
	errs := []error{p.Machine.Validate()}
	for _, c := range []struct {
		name      string
		v, lo, hi float64
		unit      string
	}{
		{"Gains.EarlyTauCS", p.Gains.EarlyTauCS, 1, 300, "s"},
		{"Gains.LateTauCS", p.Gains.LateTauCS, 1, 300, "s"},
		{"Gains.RampFromS", p.Gains.RampFromS, 0, 3600, "s"},
		{"Gains.RampToS", p.Gains.RampToS, p.Gains.RampFromS + 1, 3601, "s"},
		{"Gains.ProbeShare", p.Gains.ProbeShare, 0, 10, "of 1"},
		{"LookS", p.LookS, 0, 60, "s"},
		{"LowC", p.LowC, 0, 600, "°C"},
		{"HighC", p.HighC, p.LowC + 1, 600, "°C"},
		{"ExhaustC", p.ExhaustC, 0, 600, "°C"},
		{"SlewKPerS", p.SlewKPerS, 0.01, 100, "K/s"},
	} {
		if !(c.v >= c.lo && c.v <= c.hi) {
			errs = append(errs, fmt.Errorf("beanloop: %s is %g %s, allowed %g to %g: correct the loop settings",
				c.name, c.v, c.unit, c.lo, c.hi))
		}
	}
	return errors.Join(errs...)
}

// Target is the curve around one scan: its value now, and its value, slope and
// second derivative LookS ahead.
type Target struct {
	NowC           float64
	AheadC         float64
	AheadKPerS     float64
	AheadKPerS2    float64
	FeedForwardKPS float64 // learned addition to the wanted rate, K/s; 0 if none
}

// Input is one scan's measurements: the lag-free inlet air (observe.InletLead),
// the drum skin, the air flow, and the time since charge.
type Input struct {
	SinceChargeS  float64
	InletC, SkinC float64
	FlowKgPerS    float64
	ExhaustC      float64 // reading of the exhaust probe; looked at if there is a limit, NaN = not known
}

// Output is the set point and why it is what it is.
type Output struct {
	SetC          float64 // inlet air set point, limited and slewed, °C
	WantedC       float64 // before the slew limit, °C
	DemandW       float64 // heat wanted from gas to bed, W
	ErrorK        float64 // lag-free bean error ahead, K
	TrackingK     float64 // target minus probe now, K
	WantedKPerS   float64 // wanted bean rate
	AtLow         bool    // WantedC is at LowC: the curve asks for less heat than that gives
	AtHigh        bool    // WantedC is at HighC: the curve asks for more than the machine may give
	ByExhaust     bool    // the same, held back below HighC by the exhaust
	Slewing       bool    // SetC is still on its way to WantedC
	Held          bool    // an input was not finite; the set point was left alone
	TauCS, K2PerS float64
}

// Loop is the inversion for one batch. Start it when the loop is closed, then
// call Step once a scan.
type Loop struct {
	p       Params
	demandW float64
	out     Output
	fresh   bool
	exhaust exhaustHold
}

// Start closes the loop without a bump: the heat demand, the loop's only
// memory, begins at the heat now flowing, and the set point at presentSetC. The
// error lists settings out of range, and then the loop is left as it was.
func (l *Loop) Start(p Params, presentSetC float64) error {
	if err := p.Validate(); err != nil {
		return err
	}
	if math.IsNaN(presentSetC) {
		return errors.New("beanloop: the present inlet air set point is NaN, allowed is a temperature in °C: close the loop only while the air loop runs")
	}
	*l = Loop{p: p, fresh: true}
	l.out.SetC = min(max(presentSetC, p.LowC), p.HighC)
	l.out.WantedC = l.out.SetC
	return nil
}

// Step returns the set point for this scan from the target, the estimate and
// the measurements. If any of them is not finite the set point is held and
// Output.Held is set.
func (l *Loop) Step(tg Target, e observe.Estimate, in Input) Output {
	m := &l.p.Machine
	gas := observe.AirOf(m, in.InletC, in.SkinC, in.FlowKgPerS)
	shareB := gas.BedShare(e.HeatFactor)
	gasW := gas.WPerK * shareB // W per K of gas over bed
	if l.fresh {
		l.demandW = gasW * (gas.AfterDrumC - e.BeanC)
	}

	tauC, k2 := l.p.Gains.At(in.SinceChargeS)
	look, share := l.p.LookS, m.GasShare

	// What the probe's surroundings must be for the probe to follow the curve:
	// the lag taken off with the estimate's own lag, so that a wrong lag
	// cancels when the probe is on the curve.
	refC := tg.AheadC + e.TauS*tg.AheadKPerS
	refKPerS := tg.AheadKPerS + e.TauS*tg.AheadKPerS2
	// The gas share of the probe answers at once to heat, before the bean
	// does: a zero of the plant, 1/(capacity × probePerW).
	probePerW := share * (1 - shareB) / gasW
	beanC := e.BeanC + look*e.RateKPerS
	errK := refC - beanC - probePerW*l.demandW
	wanted := refKPerS + errK/tauC + k2*(tg.NowC-e.ProbeC) + tg.FeedForwardKPS

	dry := bean.DryMassKg(m.BatchKg, m.MoistureDB) * e.DryFraction
	capacity := dry * bean.DryHeatCapacityJPerKgK(beanC, e.MoistureDB)
	moisture := e.MoistureDB + look*e.DryingPerS
	reactions := 1000 * (m.Kinetics.ExothermKWPerKg(e.ReactionKJPerKg, beanC) +
		bean.VaporisationKJPerKg*m.Kinetics.DryingRatePerS(moisture, beanC))
	neededW := capacity*(wanted-e.DisturbanceKPerS) - dry*reactions -
		e.HeatFactor*m.HADbWPerK*(in.SkinC-beanC)
	demandW := l.demandW + approach(m.StepS, capacity*probePerW)*(neededW-l.demandW)

	free := 1 - gas.DrumShare
	setC := (beanC + demandW/gasW - gas.DrumShare*in.SkinC) / free
	if math.IsNaN(setC) || math.IsInf(setC, 0) {
		l.out.Held = true
		return l.out
	}
	highC := max(l.p.LowC, min(l.p.HighC, l.exhaust.most(l.p.ExhaustC, in.ExhaustC, in.InletC, m.StepS)))
	wantedC := min(max(setC, l.p.LowC), highC)
	if wantedC != setC {
		// The whole anti-windup: remember the heat the limit lets through.
		demandW = (free*wantedC + gas.DrumShare*in.SkinC - beanC) * gasW
	}
	l.demandW, l.fresh = demandW, false

	step := l.p.SlewKPerS * m.StepS
	l.out = Output{
		SetC:    l.out.SetC + min(max(wantedC-l.out.SetC, -step), step),
		WantedC: wantedC, DemandW: demandW, ErrorK: errK, TrackingK: tg.NowC - e.ProbeC,
		WantedKPerS: wanted, AtLow: setC < l.p.LowC, AtHigh: setC > highC, ByExhaust: setC > highC && highC < l.p.HighC,
		TauCS: tauC, K2PerS: k2,
	}
	l.out.Slewing = l.out.SetC != wantedC
	return l.out
}

// approach is the share of a first-order lag covered in one step; a probe that
// sees no gas has no zero to cancel and needs none.
func approach(stepS, lagS float64) float64 {
	if !(lagS > 0) {
		return 1
	}
	return -math.Expm1(-stepS / lagS)
}

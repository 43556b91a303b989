package heat

import (
	"math"
	"math/rand/v2"

	"drumwright/control/bean"
	"drumwright/control/pid"
)

// Two machines, a quarter of a kilogram and one kilogram, with the values of
// an independent simulation study (Python, double precision); no published
// source, nothing measured. The figures the tests ask for come from the same
// study, widened where stated.
var (
	smallAir = AirLoopParams{PeriodS: 0.1, MaxPowerW: 1500, ElementHeatJPerK: 40, ElementHAWPerK: 6, NominalFlowKgPerS: 0.0035, DuctLagS: 2, ProbeTauS: 4}
	largeAir = AirLoopParams{PeriodS: 0.1, MaxPowerW: 4000, ElementHeatJPerK: 160, ElementHAWPerK: 20, NominalFlowKgPerS: 0.011, DuctLagS: 2, ProbeTauS: 4}
)

// airPlant is an element of one temperature, a duct and a probe, each a lag.
type airPlant struct {
	p                       AirLoopParams // the true ones, 5 % of the heat lost
	mains                   float64
	elementC, ductC, probeC float64
	intakeC                 float64
	powerW                  float64 // takes effect one scan late
	noise                   *rand.Rand
	heatErr, exchangeErr    float64 // true over assumed
}

func newAirPlant(p AirLoopParams) *airPlant {
	return &airPlant{
		p: p, mains: 1, elementC: 25, ductC: 25, probeC: 25, intakeC: 25,
		noise: rand.New(rand.NewPCG(1, 2)), heatErr: 1, exchangeErr: 1,
	}
}

func (a *airPlant) step(duty, flow float64) {
	const sub = 3
	h := a.p.PeriodS / sub
	hA := a.exchangeErr * a.p.ElementHAWPerK * math.Pow(flow/a.p.NominalFlowKgPerS, 0.6)
	for range sub {
		var airC, ductS float64
		if flow > 0 {
			gc := flow * bean.AirCpJPerKgK(a.ductC)
			eps := 1 - math.Exp(-hA/gc)
			a.elementC += h * (a.powerW - gc*eps*(a.elementC-a.intakeC)) / (a.heatErr * a.p.ElementHeatJPerK)
			airC = a.intakeC + 0.95*eps*(a.elementC-a.intakeC)
			ductS = a.p.DuctLagS * a.p.NominalFlowKgPerS / flow
			a.ductC += (1 - math.Exp(-h/ductS)) * (airC - a.ductC)
		} else {
			a.elementC += h * a.powerW / a.p.ElementHeatJPerK
		}
		a.probeC += (1 - math.Exp(-h/a.p.ProbeTauS)) * (a.ductC - a.probeC)
	}
	a.powerW = duty * a.p.MaxPowerW * a.mains * a.mains
}

// read is the probe with 0.15 K of noise and steps of 0.1 K.
func (a *airPlant) read() float64 {
	return math.Round((a.probeC+0.15*a.noise.NormFloat64())*10) / 10
}

// airRun closes the loop for a time, with set point and flow as functions of
// the time since its start, and gives every true duct temperature.
type airRun struct {
	loop  *AirLoop
	plant *airPlant
	meter bool                       // the mains voltage is measured
	cut   func(duty float64) float64 // what gate and driver make of a duty
	out   AirOut
	duty  []float64 // as applied, every scan so far
}

func (r *airRun) forS(endS float64, setC, flow func(t float64) float64) (airC []float64) {
	h := r.plant.p.PeriodS
	for k := range int(math.Round(endS / h)) {
		t := float64(k) * h
		in := AirIn{
			Mode: pid.Auto, SetC: setC(t), MeasuredC: r.plant.read(), IntakeC: r.plant.intakeC, FlowKgPerS: flow(t),
		}
		if r.meter {
			in.MainsRatio = r.plant.mains
		}
		r.out = r.loop.Step(in)
		duty := r.out.Duty
		if r.cut != nil {
			duty = r.cut(duty)
		}
		r.loop.Track(duty)
		r.duty = append(r.duty, duty)
		r.plant.step(duty, flow(t))
		airC = append(airC, r.plant.ductC)
	}
	return airC
}

func always(v float64) func(float64) float64 { return func(float64) float64 { return v } }

// highest, lowest and the time after which all stays within band of v.
func highest(s []float64) float64 {
	m := math.Inf(-1)
	for _, v := range s {
		m = max(m, v)
	}
	return m
}

func lowest(s []float64) float64 {
	m := math.Inf(1)
	for _, v := range s {
		m = min(m, v)
	}
	return m
}

func settledAfterS(s []float64, v, band, periodS float64) float64 {
	for k := len(s) - 1; k >= 0; k-- {
		if math.Abs(s[k]-v) > band {
			return float64(k+1) * periodS
		}
	}
	return 0
}

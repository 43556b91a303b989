package safety

import (
	"math"

	"drumwright/io/point"
	"drumwright/profiles"
)

// Heat that nobody gave (estimates, common practice, no source, tried on
// simulated roasts). Roasting itself gives up to 1 kW for each kilogram (the
// published rate law at 200 °C, Schwartzberg 2002 as quoted in Vosloo 2017, the
// original not seen), but beans dry meanwhile and the change is slow; a fire
// comes at once.
const (
	// balanceFromS is when the plunge of the bean probe has died away.
	balanceFromS = 70.0
	// balanceSpanS is the time over which the probe's rate is taken. A bed that
	// bumps makes shorter ones useless, because the rate is multiplied by the lag.
	balanceSpanS = 22.0
	// beanJPerKgK is the heat capacity of beans for each kilogram of green: 1.9 to
	// 2.3 kJ/(kg K) over a roast by the same source.
	beanJPerKgK = 2000.0
	// usualS is how slowly a balance that does not close is taken for usual,
	// within usualLow and usualHigh. It holds what drying takes and what the
	// machine file says wrongly of exchange and flow.
	usualS    = 150.0
	usualLow  = -1500.0 // W/kg
	usualHigh = 300.0
	// allowedWPerKg is what may be above the usual for as long as it likes, and
	// unexplainedJPerKg what may come in excess of that: 9 K of the beans.
	allowedWPerKg     = 500.0
	unexplainedJPerKg = 18e3
	// balanceJumpK is more than a probe in beans does from scan to scan.
	balanceJumpK = 5.0
)

// balance keeps account of the heat that beans take up, by their probe freed of
// its lag, against what air and drum can give them by the figures of the bed. A
// loop that withdraws heat cannot hide a fire from it: the less is given, the
// less is explained.
type balance struct {
	lagS, gasW, wallW, gasDrumW, nominalKgPerH float64 // of the machine file

	rate     point.Slope
	probeC   float64 // last reading; NaN = none
	beanC    float64 // last temperature without lag; NaN = none
	usual    float64 // W/kg
	excessJ  float64 // unexplained heat, J/kg; never negative
	unproven bool    // something that the balance needs is not known
}

func newBalance(m *profiles.Machine) balance {
	b := &m.Bed
	return balance{
		lagS: float64(b.ProbeLagS), gasW: float64(b.GasToBeans), wallW: float64(b.DrumToBeans), gasDrumW: float64(b.GasToDrum),
		nominalKgPerH: float64(m.Air.Nominal),
		rate:          point.NewSlope(balanceSpanS), probeC: math.NaN(), beanC: math.NaN(),
	}
}

func (b *balance) follow(v *view, flowKgPerH float64) {
	x := v.img.In[point.Bean]
	if sound(x) && math.Abs(x.V-b.probeC) > balanceJumpK { // a jump is no heat
		b.rate, b.beanC = point.NewSlope(balanceSpanS), math.NaN()
	}
	b.rate.Add(v.ScanS, x)
	if sound(x) {
		b.probeC = x.V
	}
	if v.SinceChargeS < balanceFromS || !(v.GreenKg > 0) {
		b.usual, b.excessJ, b.beanC, b.unproven = 0, 0, math.NaN(), false
		return
	}
	rate, ok := b.rate.PerS()
	air, skin := v.img.In[point.InletAir], v.img.In[point.DrumSkin]
	if b.unproven = !ok || !sound(x) || !sound(air) || !sound(skin); b.unproven {
		b.beanC = math.NaN()
		return
	}
	was := b.beanC
	b.beanC = x.V + b.lagS*rate
	if math.IsNaN(was) || v.gapS <= 0 {
		return
	}
	given := b.givenW(air.V, skin.V, flowKgPerH) / v.GreenKg
	over := beanJPerKgK*(b.beanC-was)/v.gapS - given
	usual := math.Max(usualLow, math.Min(usualHigh, b.usual))
	b.excessJ = math.Max(0, b.excessJ+(over-usual-allowedWPerKg)*v.gapS)
	b.usual += v.gapS / (usualS + v.gapS) * (over - b.usual)
}

// givenW is the heat that air and drum give the beans, W.
func (b *balance) givenW(airC, skinC, flowKgPerH float64) float64 {
	wall := b.wallW * (skinC - b.beanC)
	w := flowKgPerH / 3600 * airJPerKgK
	if !(w > 0) || !(b.nominalKgPerH > 0) {
		return wall
	}
	afterDrumC := airC + math.Expm1(-b.gasDrumW/w)*(airC-skinC)
	bed := b.gasW * math.Pow(flowKgPerH/b.nominalKgPerH, 0.6) // as the estimator takes it
	return wall - w*math.Expm1(-bed/w)*(afterDrumC-b.beanC)
}

// flowKgPerH is the measured air flow, or what the blower should give.
func (g *Gate) flowKgPerH(v *view) float64 {
	if x := v.img.In[point.AirFlow]; sound(x) {
		return x.V
	}
	return g.wantKgPerH
}

// heatUnexplained is active when beans have taken up clearly more heat than
// they were given.
func heatUnexplained(g *Gate, _ *view) finding {
	b := &g.balance
	return finding{active: b.excessJ > unexplainedJPerKg, unknown: b.unproven, value: b.excessJ / 1000, limit: unexplainedJPerKg / 1000, unit: "kJ/kg", detail: "bean"}
}

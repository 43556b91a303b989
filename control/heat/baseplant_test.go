package heat

import (
	"math"
	"math/rand/v2"

	"drumwright/control/bean"
	"drumwright/control/pid"
)

var (
	smallBase = BaseLoopParams{PeriodS: 0.5, MaxPowerW: 520, DrumHeatJPerK: 750, DrumLossWPerK: 0.7, GasExchangeWPerK: 1.0, PanelHeatJPerK: 350, PanelAreaM2: 0.02, PanelEmissivity: 0.7, PanelLossWPerK: 0.25}
	largeBase = BaseLoopParams{PeriodS: 0.5, MaxPowerW: 1300, DrumHeatJPerK: 2000, DrumLossWPerK: 1.6, GasExchangeWPerK: 2.5, PanelHeatJPerK: 900, PanelAreaM2: 0.05, PanelEmissivity: 0.7, PanelLossWPerK: 0.5}
)

// basePlant is a panel radiating to a drum of two parts: the outer 60 % sees
// panel, room and sensor, the inner 40 % the air.
type basePlant struct {
	p                      BaseLoopParams
	linkWPerK              float64
	mains                  float64
	heatErr, lossErr       float64
	panelC, skinC, innerC  float64
	ambientC, inletC, flow float64
	bedWPerK, bedC         float64 // beans on the inner part; 0 = none
	powerW                 float64 // takes effect one scan late
	noise                  *rand.Rand
}

func newBasePlant(p BaseLoopParams, linkWPerK, flow float64) *basePlant {
	return &basePlant{
		p: p, linkWPerK: linkWPerK, mains: 1, heatErr: 1, lossErr: 1,
		panelC: 25, skinC: 25, innerC: 25, ambientC: 25, inletC: 25, flow: flow,
		noise: rand.New(rand.NewPCG(3, 4)),
	}
}

// fourth is the fourth power of the absolute temperature.
func fourth(c float64) float64 {
	k := c + bean.KelvinOffset
	return k * k * k * k
}

func (b *basePlant) step(duty float64) {
	const sub = 2
	h := b.p.PeriodS / sub
	for range sub {
		radiantW := b.p.radiationWPerK4() * (fourth(b.panelC) - fourth(b.skinC))
		airW := 0.0
		if b.flow > 0 {
			gc := b.flow * bean.AirCpJPerKgK(b.inletC)
			airW = gc * (1 - math.Exp(-b.p.GasExchangeWPerK/gc)) * (b.inletC - b.innerC)
		}
		linkW := b.linkWPerK * (b.skinC - b.innerC)
		c := b.heatErr * b.p.DrumHeatJPerK
		b.panelC += h * (b.powerW - radiantW - b.p.PanelLossWPerK*(b.panelC-b.ambientC)) / b.p.PanelHeatJPerK
		b.skinC += h * (radiantW - linkW - b.lossErr*b.p.DrumLossWPerK*(b.skinC-b.ambientC)) / (0.6 * c)
		b.innerC += h * (airW + linkW - b.bedWPerK*(b.innerC-b.bedC)) / (0.4 * c)
	}
	b.powerW = duty * b.p.MaxPowerW * b.mains * b.mains
}

func (b *basePlant) read() float64 {
	return math.Round((b.skinC+0.15*b.noise.NormFloat64())*10) / 10
}

type baseRun struct {
	loop  *BaseLoop
	plant *basePlant
	meter bool                       // the mains voltage is measured
	beans func(t float64) float64    // temperature of beans charged; nil = none
	blind bool                       // the loop is not told of them
	cut   func(duty float64) float64 // what gate and driver make of a duty
	out   BaseOut
}

func (r *baseRun) forS(endS float64, setC, inletC func(t float64) float64) (skinC []float64) {
	h := r.plant.p.PeriodS
	for k := range int(math.Round(endS / h)) {
		t := float64(k) * h
		r.plant.inletC = inletC(t)
		in := BaseIn{
			Mode: pid.Auto, SetC: setC(t), SkinC: r.plant.read(), AmbientC: 25,
			InletC: r.plant.inletC + 0.1*r.plant.noise.NormFloat64(), FlowKgPerS: r.plant.flow,
		}
		if r.beans != nil {
			r.plant.bedWPerK, r.plant.bedC = 1.51, r.beans(t)
			if !r.blind {
				in.BedWPerK, in.BedC = r.plant.bedWPerK, r.plant.bedC
			}
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
		r.plant.step(duty)
		skinC = append(skinC, r.plant.skinC)
	}
	return skinC
}

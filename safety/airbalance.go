package safety

import (
	"math"

	"drumwright/io/point"
)

// The bean probe is held against what the beans take out of the air (estimates,
// common practice, no source).
const (
	learnFromS   = 120.0 // after charge, when a probe half as slow again has settled too
	learnUntilS  = 230.0 // to here the exchange of this batch is learnt
	learnLeastS  = 60.0
	learnGapK    = 40.0 // air over beans: less tells too little of the exchange
	judgeGapK    = 15.0
	smoothS      = 5.0 // of the exhaust
	flowExponent = 0.6 // of the exchange; usual for packed and tumbling beds, value from memory
	offModelK    = 15.0
	learnOffK    = 12.0 // what lags and figures that are not as told make of the gap while learning
	offModelWarn = 8.0 / offModelK
)

// airBalance follows the air on its way: it meets the drum skin, then the beans,
// then the exhaust probe. How well it exchanges heat with the beans is learnt
// early in each batch; from then on the air that goes in and the air that comes
// out say how hot the beans are, whatever their own probe says. A drift that was
// there before, or comes while it learns, is taken for the exchange.
type airBalance struct {
	enterC   float64 // air before the beans, as slow as the bean probe
	leaveC   float64 // exhaust: its probe is about as slow as the bean probe
	begun    bool
	exchange float64 // mean logarithm of the exchange over that of the machine file
	learntS  float64
	offK     float64 // beans by the air over beans by the probe
	gapK     float64 // mean gap of air and beans while that was learnt
	trustK   float64 // offK that an exchange learnt at that gap can make at the present one
	judged   bool
	apartK   float64 // exhaust over a probe that is in the bed
	apart    bool    // apartK is known
}

// notice needs inlet, skin, exhaust and bean; without one of them the batch has
// no judgement any more, for what was learnt may rest on a failing probe.
func (b *airBalance) notice(g *Gate, v *view) {
	in, skin, out, bean := v.img.In[point.InletAir], v.img.In[point.DrumSkin], v.img.In[point.Exhaust], v.img.In[point.Bean]
	if !v.BeansIn || v.SinceChargeS <= 0 || !sound(in) || !sound(skin) || !sound(out) || !sound(bean) || !(g.machine.Bed.GasToBeans > 0) {
		*b = airBalance{}
		return
	}
	kgPerS := g.flowKgPerH(v) / 3600
	wPerK := kgPerS * hotAirJPerKgK(in.V)
	b.judged, b.apart = false, false
	if !(wPerK > 0) {
		return
	}
	bed := &g.machine.Bed
	before := in.V + math.Expm1(-float64(bed.GasToDrum)/wPerK)*(in.V-skin.V)
	if !b.begun {
		*b = airBalance{begun: true, enterC: before, leaveC: out.V}
	}
	lagS := math.Max(0, float64(bed.ProbeLagS-g.machine.Heaters.Air.ProbeLagS))
	b.enterC += v.gapS / (lagS + v.gapS) * (before - b.enterC)
	b.leaveC += v.gapS / (smoothS + v.gapS) * (out.V - b.leaveC)

	share := float64(bed.GasShare)
	beanC := (bean.V - share*b.leaveC) / (1 - share)
	rated := float64(bed.GasToBeans) / wPerK * math.Pow(kgPerS*3600/float64(g.machine.Air.Nominal), flowExponent)
	cooled, gap := b.enterC-b.leaveC, b.enterC-beanC
	b.apart, b.apartK = true, (1-share)*cooled/math.Expm1(rated*math.Exp(b.exchange))
	if v.SinceChargeS < learnUntilS {
		if part := cooled / gap; v.SinceChargeS > learnFromS && gap > learnGapK && part > 0.02 && part < 0.98 {
			b.learntS += v.gapS
			if b.learntS > 0 {
				b.gapK += v.gapS / b.learntS * (gap - b.gapK)
				b.exchange += v.gapS / b.learntS * (math.Log(-math.Log1p(-part)/rated) - b.exchange)
			}
		}
		return
	}
	if b.learntS < learnLeastS {
		return
	}
	beansC := b.enterC + cooled/math.Expm1(-rated*math.Exp(b.exchange))
	b.offK = beansC - beanC
	b.trustK = math.Max(offModelK, learnOffK*(b.enterC-beansC)/b.gapK)
	b.judged = g.heating && b.enterC-beansC > judgeGapK
}

// beanOffModel is active when the bean probe is further from the beans that the
// air has met than a share of what the balance can be trusted to.
func beanOffModel(share float64) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		f := finding{value: math.Abs(g.airBalance.offK), limit: share * g.airBalance.trustK, unit: "K", detail: "bean against the balance of the air"}
		f.active = g.airBalance.judged && f.value > f.limit
		return f
	}
}

// hotAirJPerKgK is the heat capacity of dry air at constant pressure, within 0.5 %
// from 0 to 350 °C (1.014 kJ/(kg K) at 400 K, 1.030 at 500 K, 1.051 at 600 K in the
// usual tables, values from memory).
func hotAirJPerKgK(c float64) float64 { return 1006 + 4e-4*c*c }

// feelsBed reports whether a bean probe in the bed would read clearly less than
// the exhaust. Towards the end of a long roast, or of a small batch, the air need
// hardly be hotter than the beans; then exhaust and bean are close by right. Where
// the balance of the air is not known it is taken to be so.
func (b *airBalance) feelsBed() bool { return !b.apart || b.apartK > 2*inGasK }

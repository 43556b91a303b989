package assess

import (
	"math"

	"drumwright/io/record"
)

// trace is what a batch leaves to be judged: one entry a scan from charge on.
type trace struct {
	curve    *Curve
	sinceS   []float64
	probeC   []float64 // without noise
	beanErrC []float64 // estimated minus true bean temperature
	beanSdC  []float64 // as stated
	rateErr  []float64 // likewise, K/s
	rateSd   []float64
	lagS     []float64 // of the bean probe, as found
	dueS     []float64 // first crack as foreseen, since charge; 0 = not
	dueSdS   []float64
	limited  []bool  // the heat asked for is out of reach
	lossErr  float64 // at the end, estimated minus true share of green mass
	lossSd   float64 // as stated then
	crackS   float64 // first crack as noted, since charge; 0 = not
	lagTrueS float64
	lossTrue float64

	brokenOffBy string // empty = roasted to the end
}

// dutyMax is a duty at which the air heater has no more to give.
const dutyMax = 0.999

func (t *trace) add(b *batch) {
	s := b.rec.Batch.SinceS
	if b.rec.Batch.ID == 0 {
		return
	}
	t.curve = b.cell.Curve
	truth, r := b.field.machine.Truth(), b.field.machine.Readings()
	t.sinceS = append(t.sinceS, s)
	t.probeC = append(t.probeC, r.BeanProbe.C)
	t.beanErrC = append(t.beanErrC, b.rec.Bean.TrueC-truth.BeanC)
	t.beanSdC = append(t.beanSdC, b.rec.Bean.TrueSdC)
	t.rateErr = append(t.rateErr, b.rec.Bean.RateKPerS-truth.BeanKPerS)
	t.rateSd = append(t.rateSd, b.rec.Bean.RateSdKPerS)
	t.lagS = append(t.lagS, b.rec.Bean.ProbeLagS)
	t.dueS, t.dueSdS = append(t.dueS, b.rec.Batch.CrackDueS), append(t.dueSdS, b.rec.Batch.CrackDueSdS)
	t.crackS = b.rec.Batch.FirstCrackS
	limited := b.rec.Bean.LimitedHigh || b.rec.Bean.LimitedLow || b.rec.Air.Duty >= dutyMax || lowAir(&b.rec)
	if b.perfect != nil {
		limited = b.perfect.limited
	}
	t.limited = append(t.limited, limited)
	t.lossErr, t.lossSd = b.rec.Bean.Loss-truth.LossFrac, b.rec.Bean.LossSd
	t.lossTrue = truth.LossFrac
	t.lagTrueS = b.field.machine.Params().BeanProbeS
}

func lowAir(r *record.Scan) bool { return r.Bean.Active && r.Air.Duty <= 0 }

// Figures is how well a batch kept to its curve. Temperatures are those of the
// bean probe without noise, against the curve, from 60 s after the true turning
// point to the planned drop where nothing else is said.
type Figures struct {
	RmsC         float64 `json:"rms_c"`
	SettledRmsC  float64 `json:"settled_rms_c"` // from 120 s after the turn
	MaxC         float64 `json:"max_c"`
	MaxAtS       float64 `json:"max_at_s"`     // since charge
	DropErrorC   float64 `json:"drop_error_c"` // at the planned drop
	LossError    float64 `json:"loss_error"`   // estimated minus true share of green mass at the planned drop
	BeanErrorC   float64 `json:"bean_error_rms_c"`
	LimitedShare float64 `json:"limited_share"` // of the time, at a limit of inlet air or heater
	FreeRmsC     float64 `json:"free_rms_c"`    // of the time neither at a limit nor within rejoinS after one
	RoughKPerMin float64 `json:"roughness_k_per_min"`
	RateRises    int     `json:"rate_rises"` // of the rate of rise from one window to the next, against a curve whose rate only falls
	TurnS        float64 `json:"turn_s"`
}

const (
	fromTurnS    = 60.0
	settledS     = 120.0
	rejoinS      = 60.0 // in which the probe, whose lag is half of that, comes back to the curve after a limit
	roughWindowS = 30.0
	riseKPerMin  = 0.3 // what counts as a rise
)

func (t *trace) figures() Figures {
	var f Figures
	low := math.Inf(1)
	for i, s := range t.sinceS {
		if s < t.curve.DropS/2 && t.probeC[i] < low {
			low, f.TurnS = t.probeC[i], s
		}
	}
	var sum, settled, bean, free float64
	var n, ns, limited, nf int
	limitedAtS := math.Inf(-1)
	for i, s := range t.sinceS {
		if t.limited[i] && s > f.TurnS {
			limitedAtS = s
		}
		if s < f.TurnS+fromTurnS {
			continue
		}
		e := t.probeC[i] - t.curve.At(s)
		sum += e * e
		bean += t.beanErrC[i] * t.beanErrC[i]
		n++
		if t.limited[i] {
			limited++
		}
		if s > limitedAtS+rejoinS {
			free += e * e
			nf++
		}
		if math.Abs(e) > f.MaxC {
			f.MaxC, f.MaxAtS = math.Abs(e), s
		}
		if s >= f.TurnS+settledS {
			settled += e * e
			ns++
		}
		f.DropErrorC = e
	}
	f.RmsC, f.SettledRmsC, f.BeanErrorC = root(sum, n), root(settled, ns), root(bean, n)
	f.LimitedShare, f.FreeRmsC = float64(limited)/float64(max(n, 1)), root(free, nf)
	f.LossError = t.lossErr
	rates := windowRates(t.sinceS, t.probeC, f.TurnS+fromTurnS)
	f.RoughKPerMin, f.RateRises = roughness(rates), rises(rates)
	return f
}

func root(sum float64, n int) float64 { return math.Sqrt(sum / float64(max(n, 1))) }

// windowRates is the rate of rise over successive windows, K/min.
func windowRates(timeS, valueC []float64, fromS float64) (rates []float64) {
	lastS, lastC, begun := 0.0, 0.0, false
	for i, s := range timeS {
		switch {
		case s < fromS:
		case !begun:
			lastS, lastC, begun = s, valueC[i], true
		case s >= lastS+roughWindowS-1e-6:
			rates = append(rates, 60*(valueC[i]-lastC)/(s-lastS))
			lastS, lastC = s, valueC[i]
		}
	}
	return rates
}

// rises counts the windows in which the rate rises by more than riseKPerMin.
func rises(rates []float64) (n int) {
	for i := 1; i < len(rates); i++ {
		if rates[i] > rates[i-1]+riseKPerMin {
			n++
		}
	}
	return n
}

// roughness is the rms of the second difference of the rates.
func roughness(rates []float64) float64 {
	sum, n := 0.0, 0
	for i := 2; i < len(rates); i++ {
		d := rates[i] - 2*rates[i-1] + rates[i-2]
		sum += d * d
		n++
	}
	return root(sum, n)
}

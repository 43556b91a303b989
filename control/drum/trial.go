package drum

import (
	"fmt"
	"math"
)

// TradeStages are the usual stages of a trial and the loss at each (common
// practice, no source: many beans have lost more by first crack).
var TradeStages = []Stage{
	{Name: "green", LossFrac: 0},
	{Name: "first crack", LossFrac: 0.06},
	{Name: "late first crack", LossFrac: 0.12},
	{Name: "end of second crack", LossFrac: 0.20},
}

// guessFroude is the Froude number of green beans from which a first guess is
// made: the middle of what the trade speeds give in drums of 65 to 108 mm radius.
var guessFroude = Figure{0.22, 0.06, "guess"}

// FirstGuess is a skin speed for a drum that nobody has trialled: that Froude
// number for green beans, less with loss by the usual decay. There is no
// evidence how the best speed goes with radius, batch or paddles. It is a place
// to start the trial, nothing more.
func FirstGuess(radiusMM Figure, lossFrac float64) Figure {
	v, u := propagate([]Figure{radiusMM, guessFroude}, func(x []float64) float64 {
		return Drive{RadiusMM: x[0]}.SkinFromFroude(x[1]) * math.Exp(-DefaultDecayPerLoss*lossFrac)
	}, func(v *float64) []float64 { return []float64{*v} })
	return Figure{v, u[0], "GUESS from the Froude number of other drums; make the trial"}
}

// Bound is a limit of skin speed and what sets it.
type Bound struct {
	SkinMMS float64 `json:"skin_mm_per_s"`
	By      string  `json:"by"`
}

// SpeedRange is the range within which a drum may be swept.
type SpeedRange struct {
	Low  Bound `json:"low"`
	High Bound `json:"high"`
}

// SpeedLimits are the tightest of what motion, drive and motor allow.
func (s *Setup) SpeedLimits() (SpeedRange, error) {
	d := Drive{s.RadiusMM.Value, s.SkinMMSPerHz.Value}
	r := SpeedRange{Bound{0, ""}, Bound{math.Inf(1), ""}}
	raise := func(v float64, by string) {
		if v > r.Low.SkinMMS {
			r.Low = Bound{v, by}
		}
	}
	lower := func(v float64, by string) {
		if v < r.High.SkinMMS {
			r.High = Bound{v, by}
		}
	}
	raise(d.SkinFromHz(s.MinHz), fmt.Sprintf("the drive's lowest %g Hz", s.MinHz))
	raise(d.SkinFromHz(floorShare*s.BaseHz), fmt.Sprintf("cooling of a motor with its fan on the shaft, %.0f %% of base frequency", 100*floorShare))
	raise(d.SkinFromFroude(0.5*froudeSlow), fmt.Sprintf("a bed that turns, Froude %.3f", 0.5*froudeSlow))
	lower(d.SkinFromHz(s.MaxHz), fmt.Sprintf("the drive's highest %g Hz", s.MaxHz))
	lower(d.SkinFromHz(breakdownTimes*s.BaseHz), fmt.Sprintf("torque of the motor, %g times base frequency", breakdownTimes))
	lower(d.SkinFromFroude(FroudeWarn), fmt.Sprintf("beans over the top, Froude %.1f", FroudeWarn))
	if !(r.Low.SkinMMS < r.High.SkinMMS) {
		return r, fmt.Errorf("no speed is left between %.0f mm/s (%s) and %.0f mm/s (%s); look at radius, drive constant and drive limits",
			r.Low.SkinMMS, r.Low.By, r.High.SkinMMS, r.High.By)
	}
	return r, nil
}

// Limits of a motor (common practice, no source): long running below 40 % of
// base frequency needs forced cooling, and at 1.5 times base frequency less than
// half of the breakdown torque is left.
const (
	floorShare     = 0.4
	breakdownTimes = 1.5
)

// SweepShare is how far around the expected speed a trial sweeps.
const SweepShare = 0.15

// Around is the sweep about an expected speed, cut to the limits.
func (r SpeedRange) Around(skinMMS float64) (lowMMS, highMMS float64) {
	in := func(v float64) float64 { return min(max(v, r.Low.SkinMMS), r.High.SkinMMS) }
	return in(skinMMS * (1 - SweepShare)), in(skinMMS * (1 + SweepShare))
}

// Points is the schedule that a trial gives: the law where it is accepted, the
// means otherwise, held within the range. A speed that rises with loss is
// refused, for beans that swell and lighten need a slower drum.
func (f *Fit) Points(r SpeedRange) ([]Point, error) {
	out := make([]Point, len(f.Residuals))
	for i := range f.Residuals {
		v := f.Residuals[i].MeanMMS.Value
		if f.Accepted {
			v = f.Residuals[i].FittedMMS.Value
		}
		out[i] = Point{f.Residuals[i].LossFrac, min(max(v, r.Low.SkinMMS), r.High.SkinMMS)}
		if i > 0 && out[i].SkinMMS > out[i-1].SkinMMS {
			return nil, fmt.Errorf("trial: %s came out at %.0f mm/s, faster than %s at %.0f mm/s; repeat the trial of both", f.Residuals[i].Stage, out[i].SkinMMS, f.Residuals[i-1].Stage, out[i-1].SkinMMS)
		}
	}
	if _, err := NewSchedule(out); err != nil {
		return nil, err
	}
	return out, nil
}

// Change compares a stage with an earlier trial.
type Change struct {
	Stage    string  `json:"stage"`
	LossFrac float64 `json:"loss_frac"`
	NowMMS   Figure  `json:"now_mm_per_s"`
	ThenMMS  Figure  `json:"then_mm_per_s"`
	MoreMMS  float64 `json:"more_mm_per_s"`
	Differs  bool    `json:"differs"` // by more than both uncertainties together
}

// Compare sets the stages of two trials that have the same loss beside each
// other.
func (f *Fit) Compare(then *Fit) (out []Change) {
	for i := range f.Residuals {
		for k := range then.Residuals {
			a, b := &f.Residuals[i], &then.Residuals[k]
			if math.Abs(a.LossFrac-b.LossFrac) > 0.005 {
				continue
			}
			more := a.MeanMMS.Value - b.MeanMMS.Value
			out = append(out, Change{a.Stage, a.LossFrac, a.MeanMMS, b.MeanMMS, more, math.Abs(more) > math.Hypot(a.MeanMMS.Uncertainty, b.MeanMMS.Uncertainty)})
		}
	}
	return out
}

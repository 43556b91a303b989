package drum

import (
	"errors"
	"fmt"
	"math"
)

// Law is a law of skin speed over loss. It describes what people choose; it is
// a fit to practice, not physics.
type Law string

const (
	// ByLoss is v = vg exp(-k x), x the loss. It needs nothing but the scale.
	ByLoss Law = "loss"
	// ByDensity is v = vg (rho/rhog)^n. It needs a jug weight of each stage.
	ByDensity Law = "density"
)

// DefaultDecayPerLoss is k of ByLoss where no trial is known: it fits the usual
// trade speeds to within their rounding (common practice, no source).
const DefaultDecayPerLoss = 1.85

// Observation is what a trial found for one stage.
type Observation struct {
	Stage       string    `json:"stage"`
	LossFrac    float64   `json:"loss_frac"`
	BulkKgPerM3 float64   `json:"bulk_kg_per_m3,omitempty"` // jug weight; 0 unknown
	MarksMMS    []float64 `json:"marks_mm_per_s"`           // the speed of each repeat
}

// Mean is the mean of the marks, mm/s.
func (o *Observation) Mean() float64 {
	sum := 0.0
	for _, m := range o.MarksMMS {
		sum += m
	}
	return sum / float64(len(o.MarksMMS))
}

// SpreadMMS is the sample standard deviation of the marks; 0 for a single mark,
// which has none.
func (o *Observation) SpreadMMS() float64 {
	if len(o.MarksMMS) < 2 {
		return 0
	}
	mean, sum := o.Mean(), 0.0
	for _, m := range o.MarksMMS {
		sum += (m - mean) * (m - mean)
	}
	return math.Sqrt(sum / float64(len(o.MarksMMS)-1))
}

// standard is the standard uncertainty of the mean: spread over root n, and not
// less than an even distribution over the resolution allows (JCGM 100:2008,
// 4.3.7, from memory).
func (o *Observation) standard(resolutionMMS float64) float64 {
	return math.Max(o.SpreadMMS()/math.Sqrt(float64(len(o.MarksMMS))), resolutionMMS/math.Sqrt(3))
}

// Residual compares a stage with the law.
type Residual struct {
	Stage       string  `json:"stage"`
	LossFrac    float64 `json:"loss_frac"`
	Marks       int     `json:"marks"`
	MeanMMS     Figure  `json:"mean_mm_per_s"`
	SpreadMMS   float64 `json:"spread_mm_per_s"`
	FittedMMS   Figure  `json:"fitted_mm_per_s"`
	OffMMS      float64 `json:"fitted_less_mean_mm_per_s"`
	LeftOutMMS  float64 `json:"left_out_mm_per_s"` // fitted less mean with this stage left out of the fit
	HasLeftOut  bool    `json:"has_left_out"`      // needs three stages
	WithinLimit bool    `json:"within_limit"`
}

// Fit is a law fitted to a trial.
type Fit struct {
	Law       Law        `json:"law"`
	GreenMMS  Figure     `json:"green_mm_per_s"` // vg
	Exponent  Figure     `json:"exponent"`       // k or n
	Residuals []Residual `json:"residuals"`
	RMSMMS    float64    `json:"rms_mm_per_s"`
	Accepted  bool       `json:"accepted"` // every residual within 1 % or the spread
	Why       string     `json:"why"`

	yMean, xMean  float64 // of ln v and of the law's abscissa, weighted
	slope         float64
	varY, varB    float64 // variances of yMean and slope
	cover         float64 // factor for 95 %
	reference     float64 // green bulk density of ByDensity
	resolutionMMS float64
}

// acceptShare is the greatest residual that needs no excuse by the spread.
const acceptShare = 0.01

// studentT is the two-sided 95 % point of Student's t for 1.. degrees of
// freedom, as any table of statistics has it (from memory).
var studentT = [...]float64{12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228, 2.201, 2.179, 2.160, 2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086}

func coverFor(freedom int) float64 {
	switch {
	case freedom < 1:
		return math.Inf(1)
	case freedom <= len(studentT):
		return studentT[freedom-1]
	}
	return 2.086 // a little too wide from there on
}

// abscissa is what ln v falls along.
func (l Law) abscissa(lossFrac, bulk, green float64) float64 {
	if l == ByDensity {
		return math.Log(bulk / green)
	}
	return -lossFrac
}

// FitLaw fits a law to observations in order of rising loss: ln v by weighted
// least squares, weights from spread and resolution. resolutionMMS is the
// half-width within which one mark can be read. Two stages are needed, three
// for an idea of how well the law holds.
func FitLaw(law Law, obs []Observation, resolutionMMS float64) (*Fit, error) {
	if err := checkObservations(law, obs, resolutionMMS); err != nil {
		return nil, err
	}
	f := &Fit{Law: law, resolutionMMS: resolutionMMS}
	if law == ByDensity {
		f.reference = obs[0].BulkKgPerM3
	}
	if err := f.solve(obs, -1); err != nil {
		return nil, err
	}
	method := "weighted least squares on ln v"
	f.Exponent = Figure{f.slope, f.cover * math.Sqrt(f.varB), method}
	f.GreenMMS = f.at(0) // by density: the density of the first stage
	f.Accepted, f.Why = true, "every stage is within 1 % or its own spread"
	for i := range obs {
		r := f.residual(obs, i)
		f.RMSMMS += r.OffMMS * r.OffMMS / float64(len(obs))
		if !r.WithinLimit && f.Accepted {
			f.Accepted = false
			f.Why = fmt.Sprintf("%s is %.1f mm/s off the law, more than 1 %% and more than its spread: the means themselves are used", r.Stage, math.Abs(r.OffMMS))
		}
		f.Residuals = append(f.Residuals, r)
	}
	f.RMSMMS = math.Sqrt(f.RMSMMS)
	return f, nil
}

func checkObservations(law Law, obs []Observation, resolutionMMS float64) error {
	var errs []error
	if law != ByLoss && law != ByDensity {
		errs = append(errs, fmt.Errorf("speed law %q: allowed are %s and %s", law, ByLoss, ByDensity))
	}
	if len(obs) < 2 || len(obs) > MaxPoints {
		errs = append(errs, fmt.Errorf("speed law: %d stages, allowed are 2 to %d; add a trial with roasted beans", len(obs), MaxPoints))
	}
	if !positive(resolutionMMS) {
		errs = append(errs, fmt.Errorf("speed law: resolution %g mm/s, must be finite and above 0", resolutionMMS))
	}
	for i := range obs {
		o := &obs[i]
		if len(o.MarksMMS) == 0 {
			errs = append(errs, fmt.Errorf("speed law: stage %s has no mark; repeat its trial", o.Stage))
		}
		for _, v := range o.MarksMMS {
			if !positive(v) {
				errs = append(errs, fmt.Errorf("speed law: stage %s has a mark of %g mm/s, must be finite and above 0; repeat its trial", o.Stage, v))
			}
		}
		if !(o.LossFrac >= 0 && o.LossFrac < 1) {
			errs = append(errs, fmt.Errorf("speed law: stage %s has loss %g, allowed is 0 to below 1; write 6 %% as 0.06", o.Stage, o.LossFrac))
		}
		if i > 0 && !(o.LossFrac > obs[i-1].LossFrac) {
			errs = append(errs, fmt.Errorf("speed law: stage %s has loss %g after %g, must rise; put the stages in the order of a roast", o.Stage, o.LossFrac, obs[i-1].LossFrac))
		}
		if law == ByDensity && !positive(o.BulkKgPerM3) {
			errs = append(errs, fmt.Errorf("speed law: stage %s has no bulk density; weigh a litre jug of its beans, or use the law by loss", o.Stage))
		}
	}
	return errors.Join(errs...)
}

// solve fits all observations but one.
func (f *Fit) solve(obs []Observation, without int) error {
	var sw, sx, sy float64
	n, marks := 0, 0
	each := func(do func(w, x, y float64)) {
		for i := range obs {
			if i != without {
				o := &obs[i]
				u := o.standard(f.resolutionMMS) / o.Mean() // of ln v
				do(1/(u*u), f.Law.abscissa(o.LossFrac, o.BulkKgPerM3, f.reference), math.Log(o.Mean()))
			}
		}
	}
	each(func(w, x, y float64) { sw += w; sx += w * x; sy += w * y; n++ })
	xm, ym := sx/sw, sy/sw
	var sxx, sxy float64
	each(func(w, x, y float64) { sxx += w * (x - xm) * (x - xm); sxy += w * (x - xm) * (y - ym) })
	if n < 2 || !(sxx > 1e-9*sw) {
		return errors.New("speed law: the stages do not differ in loss or density; two that do are needed")
	}
	b := sxy / sxx
	chi := 0.0
	each(func(w, x, y float64) { e := y - ym - b*(x-xm); chi += w * e * e })
	for i := range obs {
		if i != without {
			marks += len(obs[i].MarksMMS)
		}
	}
	// Stages that scatter more than their spread allows widen the confidence.
	scale := 1.0
	if n > 2 {
		scale = math.Max(1, chi/float64(n-2))
	}
	freedom := marks - 2
	if scale > 1 || marks == n {
		freedom = n - 2
	}
	f.yMean, f.xMean, f.slope, f.varY, f.varB, f.cover = ym, xm, b, scale/sw, scale/sxx, coverFor(freedom)
	if freedom < 1 {
		f.cover = 2 // two single marks: the resolution alone speaks
	}
	return nil
}

// at is the law at an abscissa, with its 95 % confidence.
func (f *Fit) at(x float64) Figure {
	v := math.Exp(f.yMean + f.slope*(x-f.xMean))
	sd := math.Sqrt(f.varY + f.varB*(x-f.xMean)*(x-f.xMean))
	return Figure{v, v * f.cover * sd, "fitted law, 95 % confidence"}
}

// SkinMMS is the law's speed for beans of a loss and, for ByDensity, of a bulk
// density.
func (f *Fit) SkinMMS(lossFrac, bulkKgPerM3 float64) Figure {
	return f.at(f.Law.abscissa(lossFrac, bulkKgPerM3, f.reference))
}

func (f *Fit) residual(obs []Observation, i int) Residual {
	o := &obs[i]
	mean, spread := o.Mean(), o.SpreadMMS()
	at := f.SkinMMS(o.LossFrac, o.BulkKgPerM3)
	r := Residual{Stage: o.Stage, LossFrac: o.LossFrac, Marks: len(o.MarksMMS), SpreadMMS: spread, FittedMMS: at, OffMMS: at.Value - mean,
		MeanMMS: Figure{mean, 2 * o.standard(f.resolutionMMS), "mean of the marks"}}
	r.WithinLimit = math.Abs(r.OffMMS) <= math.Max(acceptShare*mean, spread)
	if len(obs) > 2 {
		other := *f
		if other.solve(obs, i) == nil {
			r.LeftOutMMS, r.HasLeftOut = other.SkinMMS(o.LossFrac, o.BulkKgPerM3).Value-mean, true
		}
	}
	return r
}

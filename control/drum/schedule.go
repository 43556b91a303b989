package drum

import (
	"errors"
	"fmt"
)

// Point is one calibrated speed: the skin speed, mm/s, that suits beans which
// have lost this fraction of their green mass.
type Point struct {
	LossFrac float64
	SkinMMS  float64
}

// Schedule is skin speed over mass-loss fraction, monotone through its points,
// held constant before the first and after the last. Build it with NewSchedule.
type Schedule struct{ curve pchip }

// NewSchedule takes 1 to MaxPoints points in order of rising loss, 0 to below
// 1, with speeds above zero that do not rise. All faults found are reported.
func NewSchedule(points []Point) (Schedule, error) {
	if len(points) == 0 || len(points) > MaxPoints {
		return Schedule{}, fmt.Errorf("speed schedule: %d points, must be 1 to %d; give one for each roast stage", len(points), MaxPoints)
	}
	var errs []error
	x := make([]float64, len(points))
	v := make([]float64, len(points))
	for i, p := range points {
		x[i], v[i] = p.LossFrac, p.SkinMMS
		if !(p.LossFrac >= 0 && p.LossFrac < 1) {
			errs = append(errs, fmt.Errorf("speed schedule: point %d has mass loss %g, must be from 0 to below 1; write 6 %% as 0.06", i+1, p.LossFrac))
		}
		if !positive(p.SkinMMS) {
			errs = append(errs, fmt.Errorf("speed schedule: point %d has skin speed %g mm/s, must be finite and above 0", i+1, p.SkinMMS))
		}
		if i == 0 {
			continue
		}
		if !(p.LossFrac > points[i-1].LossFrac) {
			errs = append(errs, fmt.Errorf("speed schedule: point %d has mass loss %g after %g, must rise; put the points in roast order", i+1, p.LossFrac, points[i-1].LossFrac))
		}
		if p.SkinMMS > points[i-1].SkinMMS {
			errs = append(errs, fmt.Errorf("speed schedule: point %d has skin speed %g mm/s after %g, must not rise with loss; repeat the trial of that stage", i+1, p.SkinMMS, points[i-1].SkinMMS))
		}
	}
	if len(errs) > 0 {
		return Schedule{}, errors.Join(errs...)
	}
	return Schedule{curve: newPCHIP(x, v)}, nil
}

// SkinMMS is the skin speed, mm/s, at a mass-loss fraction. Losses outside the
// points, and NaN, give the nearest known speed: NaN counts as green.
func (s *Schedule) SkinMMS(lossFrac float64) float64 { return s.curve.at(lossFrac) }

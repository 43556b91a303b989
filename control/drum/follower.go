package drum

import (
	"fmt"
	"math"
)

// DefaultSlewMMSPerS limits how fast the skin speed may change: slow enough for
// the bed to follow and far from tripping a drive's bus voltage (common
// practice, no source).
const DefaultSlewMMSPerS = 3.0

// Limits bounds what a follower may ask of the drum.
type Limits struct {
	MinMMS      float64 // lowest skin speed, mm/s: drive cooling and a turning bed
	MaxMMS      float64 // highest skin speed, mm/s: drive and Froude number
	SlewMMSPerS float64 // fastest change, mm/s per s
}

// Follower walks a schedule during a roast: progress only grows, speed only
// moves at the slew limit. Build it with NewFollower.
type Follower struct {
	schedule Schedule
	limits   Limits
	lossFrac float64
	skinMMS  float64
}

// NewFollower starts at the green end of the schedule and at its speed.
func NewFollower(s Schedule, l Limits) (*Follower, error) {
	switch {
	case s.curve.n == 0:
		return nil, fmt.Errorf("speed follower: schedule is empty; build it with NewSchedule")
	case !positive(l.MinMMS) || !positive(l.MaxMMS) || l.MinMMS > l.MaxMMS:
		return nil, fmt.Errorf("speed follower: limits %g to %g mm/s, must be finite, above 0 and in order", l.MinMMS, l.MaxMMS)
	case !positive(l.SlewMMSPerS):
		return nil, fmt.Errorf("speed follower: slew limit %g mm/s per s, must be finite and above 0; %g is usual", l.SlewMMSPerS, DefaultSlewMMSPerS)
	}
	f := &Follower{schedule: s, limits: l}
	f.Reset(s.SkinMMS(0))
	return f, nil
}

// Reset begins a new batch: progress to zero, and the speed taken over from what
// the drum does now, so that the hand-over has no bump.
func (f *Follower) Reset(skinMMS float64) {
	if math.IsNaN(skinMMS) {
		skinMMS = f.schedule.SkinMMS(0)
	}
	f.lossFrac = 0
	f.skinMMS = f.clamp(skinMMS)
}

// Step takes the estimated mass-loss fraction and the time since the last step,
// s, and returns the skin speed to ask for, mm/s. A loss below the progress so
// far, or NaN, leaves progress where it is: beans do not gain mass back, so a
// falling estimate is an error of the estimate.
func (f *Follower) Step(lossFrac, dtS float64) float64 {
	if lossFrac > f.lossFrac {
		f.lossFrac = min(lossFrac, 1)
	}
	if !(dtS > 0) {
		return f.skinMMS
	}
	goal := f.clamp(f.schedule.SkinMMS(f.lossFrac))
	step := f.limits.SlewMMSPerS * dtS
	f.skinMMS = min(max(goal, f.skinMMS-step), f.skinMMS+step)
	return f.skinMMS
}

// LossFrac is the progress so far: the highest mass-loss fraction seen.
func (f *Follower) LossFrac() float64 { return f.lossFrac }

// SkinMMS is the speed asked for now, mm/s.
func (f *Follower) SkinMMS() float64 { return f.skinMMS }

func (f *Follower) clamp(v float64) float64 {
	return min(max(v, f.limits.MinMMS), f.limits.MaxMMS)
}

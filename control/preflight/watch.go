package preflight

import (
	"fmt"
	"math"

	"drumwright/io/point"
	"drumwright/io/record"
)

const (
	fromTurnS = 60.0 // after the turning point the probe is held against the curve
	leastS    = 3.0  // a shorter stretch at a limit is not told
	joinS     = 15.0 // stretches closer than this are one
	dutyEdge  = 1e-3
	// The base loop counts as held when the skin is so far off its set point
	// with nothing more to give: while a drum follows its ramp that is usual.
	skinHeldK = 3.0
)

// deviation is the probe against the curve.
type deviation struct {
	sum2         float64
	n            int
	maxC, maxAtS float64
	lateS        float64
}

// counts reports whether the probe is held against the curve in this scan.
func counts(s *record.Scan) bool {
	return s.Batch.TurnS > 0 && s.Batch.SinceS >= s.Batch.TurnS+fromTurnS && s.Bean.TargetC > 0
}

func (d *deviation) add(s *record.Scan) {
	if !counts(s) {
		return
	}
	e := s.Image.In[point.Bean].V - s.Bean.TargetC
	d.sum2 += e * e
	d.n++
	if math.Abs(e) > d.maxC {
		d.maxC, d.maxAtS = math.Abs(e), s.Batch.SinceS
	}
	d.lateS = math.Max(d.lateS, lateS(s))
}

func (d *deviation) rms() float64 { return math.Sqrt(d.sum2 / float64(max(1, d.n))) }

// lateS is how long the curve was where the probe is now, by the curve's slope.
func lateS(s *record.Scan) float64 {
	return (s.Bean.TargetC - s.Image.In[point.Bean].V) / math.Max(s.Bean.TargetKPerS, 0.5/60)
}

// kind of limit.
type kind int

const (
	inletHighest kind = iota
	inletLowest
	byExhaust
	airFull
	airOff
	baseFull
	baseOff
	numKinds
)

// watch follows what stands at a limit.
type watch struct {
	list   []Limit
	open   [numKinds]int // index of the stretch that may go on, +1; 0 = none
	stage  int
	shortS float64 // for which the inlet air was short of its set point with the heater at its most
	shortK float64 // and by how much at most
}

func (w *watch) add(f *flight, s *record.Scan) {
	h := &f.m.Heaters
	air, skin := s.Permit[point.AirHeaterPower], s.Permit[point.RadiantPower]
	short := s.Air.SetC - s.Image.In[point.InletAir].V
	airMost := float64(h.Air.MaxDuty)
	skinOff := s.Base.SetC - s.Image.In[point.DrumSkin].V
	for k, held := range [numKinds]bool{
		inletHighest: s.Bean.LimitedHigh && s.Bean.Bound != record.BoundExhaust, byExhaust: s.Bean.LimitedHigh && s.Bean.Bound == record.BoundExhaust, inletLowest: s.Bean.LimitedLow,
		// A limited air loop keeps a little of its power in reserve, and less than
		// all of it is the most that a hot element can take.
		airFull: air >= airMost-dutyEdge || s.Air.Limited && short > 0, airOff: s.Air.Limited && short < 0,
		baseFull: skin >= float64(h.Radiant.MaxDuty)-dutyEdge && skinOff > skinHeldK,
		baseOff:  skin <= 0 && skinOff < -skinHeldK,
	} {
		if held {
			w.hold(kind(k), f, s)
		}
	}
	if short > setOffK && w.open[airFull] > 0 && w.list[w.open[airFull]-1].ToS == s.Batch.SinceS {
		w.shortS += s.Timing.PeriodS
		w.shortK = math.Max(w.shortK, short)
	}
}

// hold carries on a stretch, or begins one.
func (w *watch) hold(k kind, f *flight, s *record.Scan) {
	t := s.Batch.SinceS
	if i := w.open[k] - 1; i < 0 || t-w.list[i].ToS > joinS {
		w.list = append(w.list, Limit{What: w.name(k, f), FromS: t, OfWhy: "the curve"})
		w.open[k] = len(w.list)
	}
	l := &w.list[w.open[k]-1]
	l.ToS = t
	off := 0.0
	switch {
	case k == baseFull || k == baseOff:
		off, l.OfWhy = math.Abs(s.Base.SetC-s.Image.In[point.DrumSkin].V), "the drum skin's set point"
	case !f.res.Curve:
		off, l.OfWhy = math.Abs(s.Air.SetC-s.Image.In[point.InletAir].V), "the inlet air's set point"
	case counts(s):
		off = math.Abs(s.Bean.TargetC - s.Image.In[point.Bean].V)
		l.LateS = math.Max(l.LateS, lateS(s))
	}
	l.OffC = math.Max(l.OffC, off)
}

func (w *watch) name(k kind, f *flight) string {
	m := f.m
	switch k {
	case inletHighest:
		return fmt.Sprintf("inlet air at its highest set point, %v", m.Loops.Air.MaxSet)
	case inletLowest:
		return fmt.Sprintf("inlet air at its lowest set point, %v", m.Loops.Air.MinSet)
	case byExhaust:
		return fmt.Sprintf("inlet air held back so that the exhaust stays below its limit, %v", m.Limits.ExhaustHigh.At)
	case airFull:
		return "air heater at its most"
	case airOff:
		return "air heater off"
	case baseFull:
		return fmt.Sprintf("radiant panels at their most, %.0f W", float64(m.Heaters.Radiant.PowerW)*float64(m.Heaters.Radiant.MaxDuty))
	}
	return "radiant panels off"
}

// close leaves out what was too short to matter.
func (w *watch) close() {
	kept := w.list[:0]
	for _, l := range w.list {
		if l.ToS-l.FromS >= leastS {
			kept = append(kept, l)
		}
	}
	w.list = kept
}

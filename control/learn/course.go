package learn

import (
	"math"

	"drumwright/control/observe"
	"drumwright/io/point"
	"drumwright/io/record"
)

// binS is the time over which a course is averaged, s.
const binS = 2.0

// bin is a stretch of a batch.
type bin struct {
	errSum  float64 // target minus probe, K
	n       int     // readings
	scans   int
	acted   float64 // learned rate that acted, K/s, sum
	effect  float64 // of it on the probe, K, sum
	limited bool
	dueS    float64 // first crack as foreseen, since charge; 0 = not
	led     int     // scans in which the bean loop led
}

// Course is what a batch leaves to be learned from.
type Course struct {
	Batch      uint64
	Recipe     string
	GreenKg    float64
	RoomC      float64 // NaN = not known
	SkinAtC    float64 // drum skin just before charge; NaN = not known
	First      bool    // the machine was cold before it
	TurnS      float64
	DropS      float64
	CrackS     float64 // 0 = not noted
	CrackBeanC float64 // estimated bean temperature then
	CrackLateS float64 // by how much a minute before it was foreseen too late; NaN = it was not foreseen
	LnTau      float64 // probe lag found, over that of the machine file; NaN = not known
	LnHeat     float64
	Loss       float64 // estimated at drop
	GreenDB    float64 // green moisture, likewise
	Weighing   observe.Weighing
	Disturbed  string // why the batch is none to learn from; "" = it is

	bins []bin
}

// Watcher follows the scans and hands out the course of each batch when it is
// dropped.
type Watcher struct {
	// ProbeTauS is the bean probe's lag by the machine file.
	ProbeTauS float64

	now   Course
	on    bool
	first bool
	late  bool // what was estimated of the batch is not to be believed
	skinC float64
}

// Put takes a scan. It returns the course of the batch that was dropped in it.
func (w *Watcher) Put(s *record.Scan) *Course {
	b, in := &s.Batch, &s.Image.In
	if s.State == "cold" {
		w.first = true
	}
	if b.ID == 0 || b.DropS > 0 && !w.on {
		if x := in[point.DrumSkin]; x.Usable() {
			w.skinC = x.V
		}
		return nil
	}
	if !w.on || b.ID != w.now.Batch {
		w.on = true
		w.now = Course{Batch: b.ID, Recipe: b.Recipe, GreenKg: b.GreenKg, RoomC: math.NaN(), SkinAtC: w.skinC, First: w.first, LnTau: math.NaN(), LnHeat: math.NaN()}
		if x := in[point.Ambient]; x.Usable() {
			w.now.RoomC = x.V
		}
		w.first, w.late = false, false
	}
	c := &w.now
	for i := range s.NumEvents {
		if e := &s.Events[i]; e.Kind == record.Trip || e.Kind == record.Milestone && e.Name == record.MilestoneAborted {
			c.Disturbed = "it was broken off"
		}
		if e := &s.Events[i]; e.Kind == record.Note && e.Name == record.NoteChargeLate {
			w.late, c.Disturbed = true, "its charge became known late"
		}
	}
	if s.Air.Mode == record.Manual || s.Base.Mode == record.Manual {
		c.Disturbed = "heat was led by hand"
	}
	if s.State == "held" {
		c.Disturbed = "heat was held"
	}
	if b.Amended != (record.Amended{}) {
		c.Disturbed = "its plan was changed on the way"
	}
	if b.TurnS > 0 {
		c.TurnS = b.TurnS
	}
	if b.FirstCrackS == 0 { // not noted, or taken back
		c.CrackS = 0
	}
	if b.FirstCrackS > 0 && c.CrackS == 0 {
		c.CrackS = b.FirstCrackS
		if !s.Bean.EstimatorOff {
			c.CrackBeanC = s.Bean.TrueC
		}
		c.CrackLateS = math.NaN()
		if i := int((c.CrackS - crackAheadS) / binS); i >= 0 && i < len(c.bins) && c.bins[i].dueS > 0 {
			c.CrackLateS = c.bins[i].dueS - c.CrackS
		}
	}
	if b.DropS > 0 {
		c.DropS = b.DropS
		w.on = false
		done := *c
		if w.late {
			done.CrackBeanC, done.Loss = 0, 0
		}
		return &done
	}
	if s.State != "roasting" {
		return nil
	}
	c.add(s)
	if !s.Bean.EstimatorOff {
		c.LnTau, c.LnHeat = math.Log(s.Bean.ProbeLagS/w.ProbeTauS), math.Log(s.Bean.HeatFactor)
		c.Loss, c.GreenDB = s.Bean.Loss, s.Bean.GreenDB
		c.Weighing = observe.Weighing(s.Bean.LossDoubt)
	}
	return nil
}

func (c *Course) add(s *record.Scan) {
	i := int(s.Batch.SinceS / binS)
	if i < 0 || i >= maxKnots*int(GridS/binS) {
		return
	}
	for len(c.bins) <= i {
		c.bins = append(c.bins, bin{})
	}
	b := &c.bins[i]
	b.scans++
	b.dueS = s.Batch.CrackDueS
	b.acted += s.Bean.LearnedKPerS
	b.effect += s.Bean.LearnedK
	if s.Bean.Active {
		b.led++
	}
	if s.Bean.LimitedHigh || s.Bean.LimitedLow || s.Bean.Active && (s.Air.Duty >= fullDuty || s.Air.Duty <= 0) {
		b.limited = true
	}
	if x := s.Image.In[point.Bean]; x.Usable() && s.Bean.TargetC > 0 {
		b.errSum += s.Bean.TargetC - x.V
		b.n++
	}
}

// fullDuty is a duty at which the air heater has no more to give.
const fullDuty = 0.999

func (c *Course) endS() float64 { return float64(len(c.bins)) * binS }

// err is the error in bin i, K; NaN = not known.
func (c *Course) err(i int) float64 {
	if b := &c.bins[i]; b.n > 0 {
		return b.errSum / float64(b.n)
	}
	return math.NaN()
}

// toLearn is the weight of each bin, 0 or 1, and its clipped error.
func (c *Course) toLearn() (weight, errK []float64) {
	weight, errK = make([]float64, len(c.bins)), make([]float64, len(c.bins))
	limitedAtS := math.Inf(-1)
	for i := range c.bins {
		t, b := (float64(i)+0.5)*binS, &c.bins[i]
		if b.limited && t > c.TurnS {
			limitedAtS = t
		}
		e := c.err(i)
		if math.IsNaN(e) || c.TurnS == 0 || t < c.TurnS+learnFromTurnS || t < limitedAtS+afterLimitS {
			continue
		}
		weight[i], errK[i] = 1, within(e, -clipK, clipK)
	}
	return weight, errK
}

// limitedShare is how much of the time from the turn on was spent at a limit.
func (c *Course) limitedShare() float64 {
	n, all := 0, 0
	for i := range c.bins {
		if float64(i)*binS < c.TurnS {
			continue
		}
		all++
		if c.bins[i].limited {
			n++
		}
	}
	return float64(n) / float64(max(1, all))
}

// answer is the probe's answer in the middle of each bin to a rate.
func (c *Course) answer(d *Dynamics, rate []float64) []float64 {
	out := make([]float64, len(c.bins))
	var r response
	for i := range c.bins {
		t := float64(i) * binS
		x := at(rate, t)
		if b := &c.bins[i]; b.limited || 2*b.led < b.scans || b.scans == 0 {
			x = 0
		}
		r.step(d, t, binS/2, x)
		out[i] = r.probeK
		r.step(d, t+binS/2, binS/2, x)
	}
	return out
}

// actedAt is the learned rate that acted around a time, K/s.
func (c *Course) actedAt(tS float64) float64 {
	sum, n := 0.0, 0
	for i := max(0, int((tS-GridS/2)/binS)); i < min(len(c.bins), int((tS+GridS/2)/binS)); i++ {
		sum += c.bins[i].acted
		n += c.bins[i].scans
	}
	if n == 0 {
		return 0
	}
	return sum / float64(n)
}

// Rms is how far the probe was off the curve from 60 s after the turn to drop,
// and how far it would have been without what was learned, as reckoned.
func (c *Course) Rms() (withC, withoutC float64) {
	var a, b float64
	n := 0
	for i := range c.bins {
		e := c.err(i)
		if math.IsNaN(e) || c.TurnS == 0 || float64(i)*binS < c.TurnS+60 {
			continue
		}
		without := e + c.bins[i].effect/float64(c.bins[i].scans)
		a += e * e
		b += without * without
		n++
	}
	if n == 0 {
		return 0, 0
	}
	return math.Sqrt(a / float64(n)), math.Sqrt(b / float64(n))
}

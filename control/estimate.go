package control

import (
	"math"

	"drumwright/control/batch"
	"drumwright/control/learn"
	"drumwright/io/point"
	"drumwright/io/record"
)

// maxCatchUp is how many missed periods the estimator is led through at once;
// after a longer gap the gate has tripped.
const maxCatchUp = 20

// observe moves the estimator by one scan while beans are in the drum, and
// through the periods that were missed before it.
func (c *Controller) observe(img *point.Image, dt float64) {
	c.inletC = c.lead.Step(usable(img, point.InletAir))
	if !c.observing {
		return
	}
	for range int(math.Max(1, math.Min(maxCatchUp, math.Round(dt/float64(c.m.Scan.PeriodS))))) {
		c.filter.Predict(c.inletC, usable(img, point.DrumSkin), c.flowKgPerH(img)/3600)
	}
	c.filter.Update(usable(img, point.Bean))
	c.estimate = c.filter.Estimate()
	c.crackDueS, c.crackDueSdS = 0, 0
	if c.roast.crackS == 0 && c.estimate.Usable {
		c.crackDueS, c.crackDueSdS = c.crackWatch.Step(c.sinceCharge(), dt, &c.estimate, c.wanted())
	}
	if dt > 0 {
		r := &c.roast
		r.lossPerS += -math.Expm1(-dt/lossRateS) * ((c.estimate.LossFraction-r.lossWas)/dt - r.lossPerS)
		r.lossWas = c.estimate.LossFraction
	}
}

// lossRateS smooths the rate of the estimated loss.
const lossRateS = 10.0

// beginEstimate starts the estimator at charge.
func (c *Controller) beginEstimate(img *point.Image, rec *record.Scan) {
	ambient, known := c.ambientC(img)
	bed := bedParams(c.m, c.recipe)
	bed.BatchKg = c.roast.greenKg
	p := learned(bed, c.m, c.recipe, c.roast.lessons)
	if err := c.filter.Start(p, ambient, known, usable(img, point.Bean)); err != nil {
		rec.Add(record.Event{Kind: record.Note, Name: "estimator", Text: "no estimate in this batch: " + err.Error()})
		return
	}
	c.loopParams = beanLoopParams(c.m, p)
	c.observing, c.closed = true, false
	c.dynamics = learn.Dynamics{Gains: c.loopParams.Gains, LookS: c.loopParams.LookS, ProbeTauS: p.ProbeTauS * math.Exp(p.LnTau)}
	share, coffee := 0.0, learn.Coffee{}
	if l := c.roast.lessons; l != nil {
		if !known {
			ambient = math.NaN()
		}
		share, coffee = l.Path.Share(p.BatchKg, ambient), l.Coffee
	}
	c.guard.Start(share)
	c.crackWatch.Start(&coffee)
	c.estimate = c.filter.Estimate()
}

func (c *Controller) endEstimate() { c.observing, c.closed = false, false }

// guardFromTurnS is how long after the turning point the guard of what is
// learned begins to look.
const guardFromTurnS = 40.0

// beanSet is the inlet air set point of the bean loop, or NaN while it is not
// closed. The loop closes a little after charge, opens when the estimate can no
// longer be used, and closes again without a bump when it can.
func (c *Controller) beanSet(img *point.Image, rec *record.Scan) float64 {
	want := c.state == batch.Roasting && c.curve != nil && c.observing && c.estimate.Usable &&
		!c.hand[airIdx].on && c.sinceCharge() >= float64(c.m.Loops.Bean.CloseS)
	if !want {
		if c.closed {
			c.closed = false
			rec.Add(record.Event{Kind: record.Note, Name: "bean-loop", Text: "bean loop open: the inlet air stays at its last set point"})
		}
		if x := usable(img, point.InletAir); c.curve != nil && c.hand[airIdx].on && !math.IsNaN(x) {
			c.set.inletC = x // the loop takes over from where a person has led the air
		}
		return math.NaN()
	}
	if !c.closed {
		if err := c.loop.Start(c.loopParams, c.set.inletC); err != nil {
			return math.NaN()
		}
		c.closed, c.limited = true, false
		rec.Add(record.Event{Kind: record.Note, Name: "bean-loop", Text: "bean loop closed on the recipe's curve"})
	}
	t := c.sinceCharge()
	plan := c.wanted()
	tg := plan.Target(t, c.loopParams.LookS)
	// Until then the probe still falls from where it was before charge.
	seen := c.roast.turned && t >= c.roast.turnS+guardFromTurnS
	tg.FeedForwardKPS = c.guard.Step(&c.dynamics, t, c.loopParams.Machine.StepS, c.roast.lessons.RateKPerS(plan.CurveTimeS(t)), tg.NowC-c.estimate.ProbeC, seen, !c.limited)
	rec.Bean.LearnedKPerS, rec.Bean.LearnedK = tg.FeedForwardKPS, c.guard.EffectK()
	out := c.loop.Step(tg, c.estimate, inputOf(c, img, t))
	c.beanOut, c.limited = out, out.AtHigh || out.AtLow
	rec.Bean.LimitedHigh, rec.Bean.LimitedLow = out.AtHigh, out.AtLow
	return out.SetC
}

package control

import (
	"fmt"
	"math"

	"drumwright/control/batch"
	"drumwright/control/beanloop"
	"drumwright/io/record"
)

// What a person may change of a roast that runs (judgement): small steps that
// leave it the same roast. Neither the machine's limits nor the recipe's latest
// time move with it.
const (
	longerS        = 15.0     // by which the drop is put off, once
	longerFromS    = 65.0     // how long before the drop that can be asked for
	dropShiftK     = 5.0      // most that the drop differs from the recipe's
	dropTooLateS   = 60.0     // how long before the drop its temperature can no longer be changed
	acceptTooLateS = 30.0     // the same for a later end of the curve
	steepestKPerS  = 2.0 / 60 // most that a changed drop adds to the plan's rate of rise, or takes from it
	heatOffMarginK = 2.0      // how far below the machine's end of heat a drop stays
)

// wanted is the curve with what was changed of it; its Curve is nil without one.
func (c *Controller) wanted() beanloop.Plan {
	return beanloop.Plan{Curve: c.curve, Amendment: c.roast.amended}
}

// dropAtC is the bean probe at which the roast ends, as the recipe or a person has
// it; NaN if it ends by something else.
func (c *Controller) dropAtC() float64 {
	switch {
	case c.roast.dropAtC > 0:
		return c.roast.dropAtC
	case c.recipe != nil && c.recipe.Drop.Bean != nil:
		return float64(*c.recipe.Drop.Bean)
	}
	return math.NaN()
}

// dropRange is to what the drop may be changed, °C.
func (c *Controller) dropRange() (leastC, mostC float64) {
	own := float64(*c.recipe.Drop.Bean)
	return own - dropShiftK, math.Min(own+dropShiftK, math.Floor(float64(c.m.Limits.BeanHeatOff)-heatOffMarginK))
}

// noDropAtNow says why the drop's temperature cannot be changed, "" if it can.
func (c *Controller) noDropAtNow() string {
	switch r := &c.roast; {
	case c.state != batch.Roasting:
		return noRoast
	case c.recipe.Drop.Bean == nil:
		return "This recipe ends by loss or time, not at a temperature. Drop by hand when the beans are right."
	case !r.turned:
		return "The beans have just gone in. It is possible once the probe rises."
	case c.untilDropS() < dropTooLateS:
		return "Too late: the drop is less than a minute away. Use 15 s longer, or drop by hand."
	}
	return ""
}

// changeDrop moves the drop to another temperature, and leads the rest of the
// curve there in the time that it has.
func (c *Controller) changeDrop(cmd *Command) (bool, string) {
	least, most := c.dropRange()
	if !(cmd.DropC >= least && cmd.DropC <= most) {
		return false, fmt.Sprintf("drop at %.1f °C: allowed is %.1f to %.1f °C in this roast; take another recipe for more", cmd.DropC, least, most)
	}
	was := c.dropAtC()
	if plan, t := c.wanted(), c.sinceCharge(); plan.Curve != nil {
		now, _, _ := plan.At(t)
		left := plan.EndS() - t
		if left < dropTooLateS {
			return false, "Too late: less than a minute of the curve is left. Use 15 s longer, or drop by hand."
		}
		by := c.roast.addedKPerS + (cmd.DropC-was)/left // small steps add up
		if math.Abs(by) > steepestKPerS {
			return false, fmt.Sprintf("drop at %.1f °C: %+.1f °C in the %.0f s left change the rate of rise by %.1f °C/min in all, allowed is %.0f; ask for less", cmd.DropC, cmd.DropC-was, left, 60*math.Abs(by), 60*steepestKPerS)
		}
		a := plan.Amend(t, now, plan.EndS(), plan.EndC()+cmd.DropC-was)
		if (beanloop.Plan{Curve: c.curve, Amendment: a}).LeastKPerS(t) <= 0 {
			return false, fmt.Sprintf("drop at %.1f °C: the plan would have to fall on the way; ask for less", cmd.DropC)
		}
		c.roast.amended, c.roast.addedKPerS = a, by
	}
	c.roast.dropAtC, c.roast.dropSoon = cmd.DropC, len(dropSoon)
	c.reach.forget()
	return true, fmt.Sprintf("the drop is at %.1f °C, no longer at %.1f °C; what else ends this recipe stays", cmd.DropC, was)
}

// noAcceptNow says why there is no later drop to accept, "" if there is.
func (c *Controller) noAcceptNow() string {
	plan, late := c.wanted(), c.reach.forecast.LateS
	switch {
	case c.state != batch.Roasting:
		return noRoast
	case plan.Curve == nil || !c.closed:
		return "No curve is followed: there is no later drop to accept."
	case !(late > 0):
		return "The curve can be met: there is no later drop to accept."
	case late >= beanloop.LongestS:
		return "The end of the curve is not reached at all. Aim for a lower drop, or drop by hand."
	case plan.EndS()+late > float64(c.recipe.Drop.LatestS):
		return "The later drop would come after the recipe's latest time. Aim for a lower drop, or drop by hand."
	case plan.EndS()-c.sinceCharge() < acceptTooLateS:
		return "Too late: the end of the curve is less than half a minute away."
	}
	return ""
}

// acceptLater makes the plan what the forecast says: from where the beans are now
// to the curve's end as late as it can be reached.
func (c *Controller) acceptLater() (bool, string) {
	plan, t, late := c.wanted(), c.sinceCharge(), c.reach.forecast.LateS
	c.roast.amended, c.roast.addedKPerS = plan.Amend(t, c.estimate.ProbeC, plan.EndS()+late, plan.EndC()), 0
	c.roast.dropSoon = len(dropSoon)
	c.reach.forget()
	return true, fmt.Sprintf("the end of the curve is planned %.0f s later, at %.0f s since charge", late, plan.EndS()+late)
}

// noLongerNow says why the drop cannot be put off, "" if it can.
func (c *Controller) noLongerNow() string {
	r := &c.roast
	if c.state != batch.Roasting {
		return noRoast
	}
	left := c.untilDropS()
	switch {
	case r.called:
		return "The drop is reached, and nothing but you lets the beans out. Drop now."
	case r.longerS > 0:
		return "The drop was put off once already. Drop by hand, or let it come."
	case left > longerFromS:
		return "The drop is more than a minute away. It is possible in the last minute."
	case c.sinceCharge()+left+longerS > float64(c.recipe.Drop.LatestS):
		return "The recipe's latest time comes first: heat goes off then whatever else."
	case c.observing && c.estimate.ProbeC+(left+longerS)*math.Max(0, c.estimate.RateKPerS) > float64(c.m.Limits.BeanHeatOff)-heatOffMarginK:
		return "The beans would be too hot: heat goes off there on this machine."
	}
	return ""
}

// planned fills in what is planned of the roast's end.
func (c *Controller) planned(b *record.Batch) {
	r := &c.roast
	b.LongerS, b.Amended = r.longerS, record.Amended(r.amended)
	if c.state != batch.Roasting {
		return
	}
	if left := c.untilDropS(); r.turned && !math.IsInf(left, 0) {
		b.DropDueS = c.sinceCharge() + left
	}
	if c.noDropAtNow() == "" {
		b.DropLeastC, b.DropMostC = c.dropRange()
	}
}

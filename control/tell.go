package control

import (
	"math"
	"strings"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/safety"
)

// told is what telling the operator must remember. Texts with figures are made
// when the figures change, so that a scan makes none.
type told struct {
	charge   string // what to charge, of the loaded recipe
	heldFor  string // the gate's reason
	held     string // the same as a sentence
	slow     bool   // the run-down has been called slow
	noWarm   string // what stands in the way of new roasts, as a sentence
	noCharge string // the same for their beans
	onlyWarm string // the same before beans are at hand
}

// dropSoon announces the drop, nearest first. How long it takes yet is told beside
// it, from the same reckoning: two figures that differ would be one too many.
var dropSoon = [...]struct {
	s    float64
	text string
}{
	{12, "Drop any moment: hand on the discharge door."},
	{35, "Drop soon: go to the discharge door."},
	{65, "Drop soon: see that the tray is empty."},
}

// First crack is to be listened for from crackListenS before it is foreseen, or
// twice the foresight's sd if that is more, but no more than a minute; from the
// estimated bean temperature crackNearC where nothing is foreseen. It is commonly
// heard from there to some 15 K above (common practice, no source).
const (
	crackListenS = 30.0
	crackNearC   = 188.0
)

// crackNear reports whether first crack is to be listened for. Once it is, it stays
// so, however the foresight moves.
func (c *Controller) crackNear() bool {
	switch r := &c.roast; {
	case c.crackDueS > 0:
		r.listen = r.listen || c.sinceCharge() >= c.crackDueS-math.Min(2*crackListenS, math.Max(crackListenS, 2*c.crackDueSdS))
	case c.observing:
		r.listen = r.listen || c.estimate.BeanC >= crackNearC
	}
	return c.roast.listen
}

// tell is what the operator does next.
func (c *Controller) tell(rec *record.Scan) string {
	const emptyIt = "Beans may still be in the drum: let them out, then say that they are out."
	img, r := &c.img, &c.roast
	if c.restarted() {
		return c.tellRestart()
	}
	if c.state == batch.Tripped {
		if first := c.gate.First(); first != nil && first.ID == safety.UnknownTrip {
			return "A trip is stored that this program does not know. Look at the machine; hot beans may be in the drum. Put it right, then reset with your name."
		}
		return c.gate.State().Tell()
	}
	if c.state != batch.Cold && c.wish.Out[point.DrumRun] < 0.5 && !known(img, point.CoverClosed, true) {
		return coverIsOpen
	}
	if c.heats() {
		if c.wish.Out[point.Horn] >= 0.5 && c.wish.Out[point.DrumRun] < 0.5 {
			return "Stand clear: the drum is about to turn."
		}
		if text := c.heldBack(rec); text != "" {
			return text
		}
	}
	if c.trial.run.Active() {
		return c.trial.tell
	}
	switch c.state {
	case batch.Cold:
		switch {
		case c.turn.on() && c.wish.Out[point.DrumRun] < 0.5:
			return "Stand clear: the drum is about to turn."
		case c.turn.on():
			return "The drum is turned by hand without heat. Hands out."
		case r.beansIn:
			return emptyIt
		case c.facts.Hot:
			if c.facts.NoWarm {
				return "The machine is hot or cannot be read. Look into the drum first; then cool it down with stop."
			}
			return "The machine is hot or cannot be read. Look into the drum first; then cool it down with stop, or warm it."
		case c.facts.NoWarm:
			return c.told.noWarm
		case c.facts.NoCharge:
			return c.told.onlyWarm
		case c.recipe == nil:
			return "Load a recipe and start warming at the machine."
		}
		return "Start warming at the machine."
	case batch.Warming:
		if c.facts.NoCharge {
			return c.told.onlyWarm
		}
		if c.facts.DoorOpen {
			return "Shut the discharge door."
		}
		if c.facts.GateOpen {
			return "The machine is not ready: shut the charge gate, or say charged if beans went in."
		}
		return "Wait until drum and air are warm. Weigh the green coffee."
	case batch.Ready:
		switch {
		case c.facts.DoorOpen:
			return "Shut the discharge door before you charge."
		case c.facts.NoCharge:
			return c.told.onlyWarm
		case c.gateSpent:
			return "No beans were seen to come: shut the gate, or say charged if they are in."
		}
		return c.told.charge
	case batch.Charging:
		return "Let all beans in and shut the gate."
	case batch.Roasting:
		return c.tellRoast()
	case batch.Discharging:
		switch door := img.In[point.DischargeDoorOpen]; {
		case c.facts.HasDoor && !door.Usable():
			return "The door's contact cannot be read: let the beans out, then say that they are out."
		case r.dropS > 0 && c.facts.HasDoor && !c.facts.DoorOpen:
			return "The door was open too briefly to empty the drum: let the beans out, or say that they are out."
		case r.dropS > 0 && c.facts.HasDoor:
			return "Shut the discharge door when the drum is empty."
		case !c.facts.HasDoor && c.facts.InS >= float64(c.m.Batch.DropTimeS):
			return "Say that the beans are out when the drum is empty: until then it is not heated again."
		}
		return "Open the discharge door and let the beans out."
	case batch.Cooling:
		if img.In[point.CoolingFanRunning].Off() {
			return "The cooling fan does not run: spread the beans by hand."
		}
		return "Stir until the beans are cool, then empty the tray."
	case batch.RunDown:
		switch {
		case r.beansIn:
			return emptyIt
		case c.told.slow:
			return "The machine does not cool down: look at drum, blower and probes."
		}
		return "Leave drum and air running until the machine is cool."
	case batch.Held:
		if r.beansIn {
			return "Heat is held. Carry on, or drop."
		}
		return "Heat is held. Carry on, or run down."
	}
	return ""
}

// heldBack is the gate's reason to withhold heat that is asked for.
func (c *Controller) heldBack(rec *record.Scan) string {
	why := rec.Safety.HeldBack
	if why == "" || c.wish.Out[point.HeatEnable] < 0.5 {
		return ""
	}
	if why != c.told.heldFor {
		c.told.heldFor, c.told.held = why, "Heat is held back: "+strings.TrimSuffix(why, ".")+"."
	}
	return c.told.held
}

func (c *Controller) tellRoast() string {
	r := &c.roast
	if r.called {
		return "Drop now: the recipe's drop is reached."
	}
	left := c.untilDropS()
	for i := range dropSoon {
		if left <= dropSoon[i].s {
			r.dropSoon = min(r.dropSoon, i) // never back: an estimate wavers
			break
		}
	}
	switch {
	case r.dropSoon < len(dropSoon):
		return dropSoon[r.dropSoon].text
	case r.crackS > 0:
		return "First crack is noted. Get ready for the drop."
	case c.crackNear():
		return "First crack is expected: listen, and note it when it comes."
	case !r.turned:
		return "The beans are in: see that gate and door are shut."
	}
	return "Nothing to do: the beans take up heat. Weigh the next batch."
}

// Far from the drop a rate of now says little: the loss is trusted for lossFarS,
// and the beans go along their curve until rateFarS before it (judgement).
const (
	lossFarS = 120.0
	rateFarS = 65.0
)

// untilDropS is the time to the earliest condition of the recipe's drop: along the
// curve while it is followed, by the present rates near the end; negative once the
// operator has been called.
func (c *Controller) untilDropS() float64 {
	d, r, t := &c.recipe.Drop, &c.roast, c.sinceCharge()
	latest := float64(d.LatestS) - t
	if r.reachedS > 0 {
		return math.Min(latest, r.reachedS+r.longerS-t)
	}
	left := math.Inf(1)
	if d.AfterCrack != nil && r.crackS > 0 {
		left = r.crackS + float64(*d.AfterCrack) - t
	}
	if e := &c.estimate; c.observing && e.Usable && r.turned {
		if dropC := c.dropAtC(); dropC > 0 {
			left = math.Min(left, c.untilBeanS(dropC))
		}
		if d.Loss != nil && r.lossPerS > 0 {
			if s := (float64(*d.Loss) - e.LossFraction) / r.lossPerS; s <= lossFarS || math.IsNaN(c.dropAtC()) {
				left = math.Min(left, s)
			}
		}
	}
	return math.Min(latest, left+r.longerS)
}

// untilBeanS is the time until the probe is at a temperature; +Inf if it is not
// seen to get there.
func (c *Controller) untilBeanS(tempC float64) float64 {
	e, t := &c.estimate, c.sinceCharge()
	if plan := c.wanted(); c.closed {
		if s := plan.ReachS(t, tempC) + c.reach.forecast.LateS - t; s > rateFarS {
			return s
		}
	}
	if e.RateKPerS > 0 {
		return (tempC - e.ProbeC) / e.RateKPerS
	}
	return math.Inf(1)
}

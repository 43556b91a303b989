package control

import (
	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
)

// offerEveryS is how often the commands are looked through while the state
// stays: often enough for a person, seldom enough for a scan.
const offerEveryS = 0.5

// offer is which commands would be taken, as last looked through.
type offer struct {
	atS    float64
	state  batch.State
	begun  bool
	notNow [record.NumKinds]string
}

// offers tells which commands would be taken now at the machine, from a named
// person, and why the others would not.
func (c *Controller) offers(img *point.Image, rec *record.Scan) {
	o := &c.offer
	if !o.begun || o.state != c.state || c.nowS-o.atS >= offerEveryS-1e-9 || c.nowS < o.atS {
		o.begun, o.atS, o.state = true, c.nowS, c.state
		for i, k := range record.Kinds {
			o.notNow[i] = c.notNow(k, img)
		}
	}
	rec.NotNow = o.notNow
}

// notNow says why a command would be refused at the machine whatever comes with
// it, "" if it would not. It changes nothing.
func (c *Controller) notNow(k record.Kind, img *point.Image) string {
	if c.restarted() && (k == record.Stop || k == record.ResetTrip) {
		return c.gate.RefusesReset("someone", true)
	}
	if why := c.barred(k); why != "" {
		return why
	}
	switch k {
	case record.LoadRecipe:
		if c.roast.beansIn {
			return "A batch is running. Load the next recipe when the beans are out."
		}
		return ""
	case record.FirstCrack:
		return c.noCrackNow()
	case record.NoCrack:
		if c.state != batch.Roasting || c.roast.crackS == 0 {
			return "No first crack has been noted in this roast."
		}
		return ""
	case record.DropAt:
		return c.noDropAtNow()
	case record.AcceptLater:
		return c.noAcceptNow()
	case record.Longer:
		return c.noLongerNow()
	case record.Acknowledge:
		if !c.gate.Alarms().Waits() {
			return "Nothing is left to acknowledge."
		}
		return ""
	case record.Silence:
		if !c.gate.Alarms().Horn() {
			return "No alarm sounds."
		}
		return ""
	case record.ResetTrip:
		return c.gate.RefusesReset("someone", true)
	case record.SetManual:
		if !c.heats() {
			return "Heat is led by hand only while it is in use."
		}
		return ""
	case record.SetAutomatic:
		return ""
	case record.TryLoop:
		return c.noTrialNow()
	case record.TurnDrum:
		return c.noTurnNow(img)
	case record.CallFire:
		return ""
	case record.StartWarming:
		switch {
		case c.gate.Tripped():
			return tripStands
		case c.facts.Ignored:
			return "An alarm was ignored and its cause is still there. See to it first."
		case c.recipe == nil:
			return "No recipe is loaded. Load one first."
		case !known(img, point.CoverClosed, true):
			return coverIsOpen
		case c.roast.beansIn && (c.state == batch.Cold || c.state == batch.RunDown):
			return "Beans may still be in the drum. Let them out, then say that they are out."
		}
	case record.Dropped:
		if c.mayEmpty() {
			return ""
		}
	}
	if k == record.Stop && (c.turn.on() || c.facts.AskWarm) {
		return ""
	}
	ask, known := asks[k]
	if !known || batch.Allowed(c.state, &c.facts, ask) {
		return ""
	}
	return whyNot(k, c.state)
}

func (c *Controller) noCrackNow() string {
	switch {
	case c.state != batch.Roasting:
		return noRoast
	case c.roast.crackS > 0:
		return "First crack is noted already. Take it back if it was a mistake."
	}
	return ""
}

const (
	tripStands = "A trip stands. Reset it first."
	isHeld     = "The machine is held. Carry on first."
	beansGoOut = "Beans are going out. Let them all out first."
	noRoast    = "No roast is running."
	isRoasting = "Beans are in the drum. Drop them first."
	trayFull   = "Beans cool in the tray. Empty it first."
)

// whyNot is why a request cannot move the sequence on from a state: the reason,
// then what would allow it.
func whyNot(k record.Kind, s batch.State) string {
	if s == batch.Tripped {
		return tripStands
	}
	switch k {
	case record.StartWarming:
		switch s {
		case batch.Warming, batch.Ready:
			return "The machine is being kept warm already."
		case batch.Charging, batch.Roasting:
			return isRoasting
		case batch.Discharging:
			return beansGoOut
		case batch.Cooling:
			return "The drum is kept warm already while the beans cool."
		case batch.Held:
			return isHeld
		}
		return "It is not possible yet."
	case record.Charged:
		switch s {
		case batch.Cold:
			return "The drum is cold. Start warming first."
		case batch.RunDown:
			return "The machine is cooling down. Start warming first."
		case batch.Roasting:
			return "Beans are in the drum already. Drop them first."
		case batch.Discharging:
			return beansGoOut
		case batch.Cooling:
			return trayFull
		case batch.Held:
			return isHeld
		}
		return "It is not possible yet."
	case record.DropNow, record.Dropped:
		switch s {
		case batch.Charging:
			return "Beans are going in. Shut the charge gate first."
		case batch.Discharging:
			return "The beans are being let out already."
		}
		return "No beans are in the drum."
	case record.CoolDone, record.NextBatch:
		return "No beans cool in the tray."
	case record.Hold:
		switch s {
		case batch.Held:
			return "The machine is held already."
		case batch.Charging:
			return "Beans are going in. Shut the charge gate first."
		case batch.Discharging:
			return beansGoOut
		}
		return "Heat is not in use: there is nothing to hold."
	case record.Resume:
		return "Nothing is held."
	case record.Stop:
		if s == batch.RunDown {
			return "The machine is cooling down already."
		}
		return "The machine is cold: nothing runs."
	}
	return "It is not possible now."
}

package control

import (
	"fmt"
	"math"

	"drumwright/control/batch"
	"drumwright/control/drum"
	"drumwright/io/point"
	"drumwright/io/record"
)

// turn is a cold drum turned by hand without heat, to watch beans at the glass.
type turn struct {
	askedMMS float64 // 0 = it stands
	ledMMS   float64 // on its way to asked; kept through a trip, which leaves on what was on
	untilS   float64
}

const (
	// turnHoldS is how long the drum goes on turning without being asked again:
	// whoever turns it must still be there.
	turnHoldS = 15.0
	// turnCoolC is the warmest a machine may be whose drum is turned with the face
	// off or glazed (judgement).
	turnCoolC = 45.0
	// turnSlewMMPerS2 is how fast the speed moves on the way to what is asked.
	turnSlewMMPerS2 = 15.0
)

func (t *turn) on() bool { return t.askedMMS > 0 }

// noTurnNow says why the drum cannot be turned by hand, "" if it can.
func (c *Controller) noTurnNow(img *point.Image) string {
	switch {
	case c.gate.Tripped():
		return tripStands
	case c.facts.AskWarm: // in this scan
		return "Warming begins. Stop, and let the machine cool."
	case c.state != batch.Cold:
		return "The drum is turned by hand in a cold machine only. Stop, and let it cool."
	case !known(img, point.CoverClosed, true):
		return coverIsOpen
	case !known(img, point.DischargeDoorOpen, false) || !known(img, point.ChargeGateOpen, false):
		return "Shut charge gate and discharge door first, or see why their contacts cannot be read."
	case c.m.HasIn[point.ContactorClosed] && !img.In[point.ContactorClosed].Off():
		return "The heat contactor is not known to be open. Isolate the heat first."
	case c.permit.Value(point.HeatEnable) >= 0.5:
		return "Heat is on. Stop first."
	}
	for _, i := range hotInputs {
		if x := img.In[i]; x.Quality != point.Absent && !(x.Usable() && x.V < turnCoolC) {
			return "The machine is not cold, or a probe cannot be read. Let it cool first."
		}
	}
	return ""
}

// known reports whether a contact stands as it should, or is not fitted: one that
// cannot be read does not.
func known(img *point.Image, i point.Input, on bool) bool {
	x := img.In[i]
	return x.Quality == point.Absent || x.Usable() && x.On() == on
}

const coverIsOpen = "A cover is open, or its contact cannot be read. Close it first."

// turnDrum takes a skin speed, or 0 to let the drum stand. Beans are taken to be
// in from the first turn on, so that nobody heats them: it ends with the word
// that they are out.
func (c *Controller) turnDrum(cmd *Command, rec *record.Scan) (bool, string) {
	v := cmd.SkinMMPerS
	if v == 0 {
		c.endTurn("asked", rec)
		return true, "the drum stands"
	}
	low, high := c.turnRange()
	if !(v >= low && v <= high) {
		return false, fmt.Sprintf("skin speed %.0f mm/s: allowed is %.0f to %.0f mm/s on this machine", v, low, high)
	}
	t := &c.turn
	if !t.on() {
		t.ledMMS = low
		c.startS = 0
	}
	t.askedMMS, t.untilS = v, c.nowS+turnHoldS
	c.roast.beansIn = true
	return true, fmt.Sprintf("the drum turns without heat towards %.0f mm/s", v)
}

// turnRange is the range of skin speeds that drive and motion allow.
func (c *Controller) turnRange() (low, high float64) {
	d := &c.m.Drum
	return c.drive.SkinFromHz(float64(d.MinHz)), math.Min(c.drive.SkinFromHz(float64(d.MaxHz)), c.drive.SkinFromFroude(drum.FroudeWarn))
}

// guardTurn lets the drum stand as soon as what allowed it to turn is gone, or
// nobody has asked for it lately.
func (c *Controller) guardTurn(img *point.Image, rec *record.Scan) {
	t := &c.turn
	if !t.on() {
		if c.state != batch.Tripped {
			t.ledMMS = 0
		}
		return
	}
	switch why := c.noTurnNow(img); {
	case why != "":
		c.endTurn(why, rec)
	case !c.roast.beansIn:
		c.endTurn("the drum is said to be empty", rec)
	case c.nowS >= t.untilS:
		c.endTurn(fmt.Sprintf("nobody has asked for it for %.0f s", turnHoldS), rec)
	}
}

func (c *Controller) endTurn(why string, rec *record.Scan) {
	if c.turn.on() {
		c.turn.askedMMS = 0
		rec.Add(record.Event{Kind: record.Note, Name: "turn", Text: "turning the drum by hand has ended: " + why})
	}
}

// turnSpeed moves the speed on towards what is asked.
func (t *turn) turnSpeed(dt float64) float64 {
	if t.on() {
		step := turnSlewMMPerS2 * dt
		t.ledMMS = min(max(t.askedMMS, t.ledMMS-step), t.ledMMS+step)
	}
	return t.ledMMS
}

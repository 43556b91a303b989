package control

import (
	"fmt"
	"math"

	"drumwright/control/batch"
	"drumwright/io/record"
)

// move takes at most one transition and does what entering a state brings with
// it, then follows the milestones inside a roast.
func (c *Controller) move(rec *record.Scan) {
	if t := batch.Next(c.state, &c.facts); t != nil {
		from := c.state
		c.state, c.enterS = t.To, c.nowS
		rec.Add(record.Event{Kind: record.Transition, Name: t.Name, Text: fmt.Sprintf("%s → %s: %s", from, t.To, t.Reason)})
		c.enter(from, t, rec)
	}
	if c.roast.beansIn && c.state != batch.Charging && c.roast.watchTurn(c.sinceCharge(), usable(&rec.Image, beanInput)) {
		rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneTurningPoint, Text: fmt.Sprintf("turning point %.1f °C", c.roast.turnC), Value: c.roast.turnS})
	}
	if c.state == batch.Discharging && c.roast.dropS == 0 {
		// The drop is the moment the beans leave: the door's contact where there is
		// one, the operator's word, or the state itself.
		if c.facts.DoorOpen || c.facts.AskDropped || !c.facts.HasDoor {
			c.dropped(rec)
		}
	}
	if c.facts.DoorOpen && c.state == batch.Discharging {
		c.roast.doorSeen = true
	}
}

// enter does what comes with a new state.
func (c *Controller) enter(from batch.State, t *batch.Transition, rec *record.Scan) {
	switch t.To {
	case batch.Warming:
		if from == batch.Cooling {
			rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCooled, Text: "the beans are cooled", Value: c.sinceCharge()})
		}
		if !c.roast.beansIn {
			c.roast.running = false
		}
		c.warmS = 0
	case batch.Ready:
		if from == batch.Charging { // no beans came
			c.roast = roast{}
			c.endEstimate()
		}
	case batch.Charging:
		c.beginRoast(c.nowS, rec)
	case batch.Roasting:
		switch from {
		case batch.Ready:
			at := c.nowS
			if t.Name == "plunge" {
				at = c.charge.beganS
			}
			c.beginRoast(at, rec)
			c.charged(rec)
		case batch.Charging:
			c.charged(rec)
		}
	case batch.Discharging:
		if c.roast.overtime {
			rec.Add(record.Event{Kind: record.Note, Name: "latest", Text: "the recipe's latest time is reached: drop now"})
		}
	case batch.Cooling:
		if c.roast.dropS == 0 {
			c.dropped(rec)
		}
		c.roast.beansIn = false
		c.charge.forget()
	case batch.RunDown, batch.Tripped, batch.Cold:
		if c.roast.running && c.roast.dropS == 0 {
			rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneAborted, Text: "the batch was broken off: " + t.Reason, Value: c.sinceCharge()})
			c.endEstimate()
			c.roast.running = false
		}
		if t.To == batch.RunDown {
			c.coolS = 0
		}
		if t.To == batch.Cold {
			c.roast = roast{}
		}
	}
}

// beginRoast is the moment the beans go in.
func (c *Controller) beginRoast(atS float64, rec *record.Scan) {
	c.roast = roast{running: true, beansIn: true, chargeAtS: atS, id: c.lastBatch + 1}
	c.set.leadEndS = c.set.leadStartS
	c.follow.Reset(float64(c.m.Drum.IdleSpeed))
	c.beginEstimate(&rec.Image, rec)
	c.charge.forget()
}

// charged is the certainty that they are in.
func (c *Controller) charged(rec *record.Scan) {
	c.lastBatch = c.roast.id
	rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCharge, Text: fmt.Sprintf("batch %d charged: %s, %.0f g", c.roast.id, c.recipe.Name, 1000*float64(c.recipe.Charge.Green)),
		Value: c.roast.chargeAtS})
}

// dropped is the moment the beans leave the drum.
func (c *Controller) dropped(rec *record.Scan) {
	r := &c.roast
	r.dropS, r.dropC = c.sinceCharge(), c.probeC(&rec.Image)
	if c.observing {
		r.dropLoss = c.estimate.LossFraction
	}
	if math.IsNaN(r.dropC) {
		r.dropC = 0
	}
	c.endEstimate()
	rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneDrop, Text: fmt.Sprintf("dropped at %.1f °C, %.0f s, estimated loss %.1f %%", r.dropC, r.dropS, 100*r.dropLoss), Value: r.dropS})
}

package control

import (
	"fmt"
	"math"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
)

// move takes at most one transition and does what entering a state brings with
// it, then follows what happens inside a state.
func (c *Controller) move(rec *record.Scan) {
	if t := batch.Next(c.state, &c.facts); t != nil {
		from := c.state
		c.state, c.enterS = t.To, c.nowS
		rec.Add(record.Event{Kind: record.Transition, Name: t.Name, Text: fmt.Sprintf("%s → %s: %s", from, t.To, t.Reason)})
		c.enter(from, t, rec)
	}
	r := &c.roast
	if r.running && r.beansIn && c.state != batch.Charging && r.watchTurn(c.sinceCharge(), usable(&c.img, point.Bean)) {
		rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneTurningPoint, Text: fmt.Sprintf("turning point %.1f °C", r.turnC), Value: r.turnS})
	}
	if c.state == batch.Roasting && !r.called && c.recipe.Drop.Operator && c.dropReached(&c.img) {
		r.called, r.calledS = true, c.nowS
		rec.Add(record.Event{Kind: record.Note, Name: "drop-due", Text: "the recipe's drop is reached: the operator drops"})
	}
	if c.state == batch.Discharging && r.dropS == 0 {
		// The drop is the moment the beans leave: the door's contact where there is
		// one, the operator's word, or the state itself.
		if c.facts.DoorOpen || c.facts.AskDropped || !c.facts.HasDoor {
			c.dropped(rec)
		}
	}
	emptying := c.doorS >= emptyingS
	if emptying && c.state == batch.Discharging {
		r.doorSeen = true
	}
	if c.mayEmpty() && (emptying || c.facts.AskDropped) {
		c.emptied()
		rec.Add(record.Event{Kind: record.Note, Name: "emptied", Text: "the beans of the broken-off batch have left the drum"})
	}
	if c.facts.TrayCool && c.state != batch.Cooling && c.state != batch.Discharging {
		c.cooled(rec)
	}
	if limit := float64(c.m.Batch.RunDownMaxS); c.state == batch.RunDown && c.facts.InS >= limit && !c.told.slow {
		c.told.slow = true
		rec.Add(record.Event{Kind: record.Warning, Name: "run-down-limit", Text: "the machine has not cooled down in its time", Value: c.facts.InS, Limit: limit})
	}
}

// enter does what comes with a new state.
func (c *Controller) enter(from batch.State, t *batch.Transition, rec *record.Scan) {
	switch t.To {
	case batch.Warming:
		if from == batch.Cooling {
			c.cooled(rec)
		}
		if from != batch.Ready && from != batch.Held {
			c.readyS = 0
		}
		c.warmS = 0
	case batch.Ready:
		if from == batch.Charging { // no beans came
			c.roast = roast{}
			c.endEstimate()
			c.gateSpent = c.facts.GateOpen
		}
	case batch.Charging:
		c.beginRoast(c.nowS, rec)
	case batch.Roasting:
		switch from {
		case batch.Warming, batch.Ready:
			at := c.nowS
			switch t.Name {
			case "plunge":
				if at = c.charge.beganS; !c.charge.fell {
					at = c.slowCharge.beganS
				}
			case "charged", batch.Unsaid: // what was said late was seen in time
				at = c.unsaid.chargeS(at)
			}
			c.beginRoast(at, rec)
			c.charged(rec)
			if late := c.nowS - at; late > lateChargeS && t.Name != "plunge" {
				rec.Add(record.Event{Kind: record.Note, Name: record.NoteChargeLate, Text: fmt.Sprintf("the charge became known %.0f s late: what is estimated of this batch is off at first, and nothing is learned of it", late), Value: late})
			}
		case batch.Charging:
			c.charged(rec)
		}
	case batch.Discharging:
		c.closed = false
		c.automatic(rec)
		if c.roast.overtime {
			rec.Add(record.Event{Kind: record.Note, Name: "latest", Text: "the recipe's latest time is reached: drop now"})
		}
	case batch.Cooling:
		if from == batch.Discharging {
			if c.roast.dropS == 0 {
				c.dropped(rec)
			}
			c.emptied()
		}
		c.readyS = 0
	case batch.RunDown, batch.Tripped, batch.Cold:
		switch t.Name {
		case batch.ChargeBarred, batch.UnsaidLate:
			c.roast.beansIn = true
		case batch.CooledBarred:
			c.cooled(rec)
		}
		c.breakOff(t.Reason, rec)
		c.automatic(rec)
		c.told.slow = false
		if t.To == batch.RunDown {
			c.coolS = 0
		}
	}
}

// breakOff ends a batch whose beans have not been dropped. They may still be in
// the drum.
func (c *Controller) breakOff(why string, rec *record.Scan) {
	r := &c.roast
	if !r.running || r.dropS > 0 || r.ended {
		return
	}
	c.endEstimate()
	r.ended = true
	if r.certain {
		rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneAborted, Text: "the batch was broken off: " + why, Value: c.sinceCharge()})
	}
}

// automatic takes loops out of manual when their heat goes off: nobody is to
// find an old duty in force later.
func (c *Controller) automatic(rec *record.Scan) {
	for i := range c.hand {
		if c.hand[i].on {
			c.hand[i] = handOutput{}
			rec.Add(record.Event{Kind: record.Note, Name: string(record.SetAutomatic), Text: loopName[i] + " loop automatic: heat went off"})
		}
	}
}

// beginRoast is the moment the beans go in.
func (c *Controller) beginRoast(atS float64, rec *record.Scan) {
	c.roast = roast{running: true, beansIn: true, chargeAtS: atS, id: c.lastBatch + 1, recipe: c.recipe, greenKg: c.greenKg(), lessons: c.lessons, dropSoon: len(dropSoon)}
	c.set.leadEndS = c.set.leadStartS
	c.follow.Reset(float64(c.m.Drum.IdleSpeed))
	c.beginEstimate(&c.img, rec)
	c.charge.forget()
}

// charged is the certainty that they are in.
func (c *Controller) charged(rec *record.Scan) {
	c.roast.certain = true
	c.readyS, c.fromCold = 0, false
	c.nextKg = 0
	c.tellCharge()
	c.lastBatch = c.roast.id
	rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCharge, Text: fmt.Sprintf("batch %d charged: %s, %.0f g", c.roast.id, c.recipe.Name, 1000*c.roast.greenKg),
		Value: c.roast.chargeAtS})
}

// dropped is the moment the beans leave the drum.
func (c *Controller) dropped(rec *record.Scan) {
	r := &c.roast
	r.dropS, r.dropC = c.sinceCharge(), c.probeC(&c.img)
	if c.observing {
		r.dropLoss = c.estimate.LossFraction
	}
	if math.IsNaN(r.dropC) {
		r.dropC = 0
	}
	c.endEstimate()
	c.trayHot, c.trayS = true, 0
	rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneDrop, Text: fmt.Sprintf("dropped at %.1f °C, %.0f s, estimated loss %.1f %%", r.dropC, r.dropS, 100*r.dropLoss), Value: r.dropS})
}

// emptied is the certainty that the drum holds no beans any more.
func (c *Controller) emptied() {
	c.roast.beansIn = false
	if !c.trayHot {
		c.trayHot, c.trayS = true, 0
	}
	c.charge.forget()
}

// cooled is the end of a batch.
func (c *Controller) cooled(rec *record.Scan) {
	c.trayHot = false
	if r := &c.roast; r.running && r.dropS > 0 && !r.ended {
		r.ended = true
		rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCooled, Text: "the beans are cooled", Value: c.sinceCharge()})
	}
}

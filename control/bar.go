package control

import (
	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/safety"
)

// Bar is what stands in the way of a new roast from outside the machine, such as
// a proof test that is overdue: why, "" for nothing. A roast under way is never
// cut by it. It also carries how the computer is doing, of which the gate makes
// what it will.
type Bar struct {
	Warm   string // keeps the machine from being heated for a roast
	Charge string // keeps beans out of the drum; also while it is warmed for proof tests

	Computer safety.Computer
}

// Bar says what stands in the way from the next scan on. It is called from the
// scan's goroutine.
func (c *Controller) Bar(b Bar) {
	if b.Warm != c.bar.Warm {
		c.told.noWarm = "No new roast: " + b.Warm + "."
	}
	if b.Charge != c.bar.Charge {
		c.told.noCharge = "No new roast: " + b.Charge + ". If beans are in, heat goes off with this: let them out, then say that they are out."
		c.told.onlyWarm = "Warm only to measure or to prove. Do not charge: " + b.Charge + "."
	}
	c.bar = b
}

// Unacknowledged says which outputs the devices have not taken of the last permit.
// It is called from the scan's goroutine, before Step.
func (c *Controller) Unacknowledged(out [point.NumOutputs]bool) { c.unheard = out }

// barred says why a command that would lead to a new roast is not taken, ""
// when nothing stands in its way.
func (c *Controller) barred(k record.Kind) string {
	switch {
	case c.chargeBarred(k):
		return c.told.noCharge
	case c.bar.Warm == "":
	case k == record.StartWarming, k == record.NextBatch, k == record.Resume && c.state == batch.Held && !c.roast.beansIn && !c.trayHot:
		return c.told.noWarm
	}
	return ""
}

// chargeBarred reports whether a command says that beans went in which should
// not have.
func (c *Controller) chargeBarred(k record.Kind) bool {
	return k == record.Charged && c.bar.Charge != "" && (c.state == batch.Warming || c.state == batch.Ready)
}

package control

import (
	"math"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/profiles"
)

// hotInputs are the temperatures that say whether a machine is hot. Ambient and
// tray do not.
var hotInputs = [...]point.Input{point.Bean, point.InletAir, point.DrumSkin, point.DrumSkin2, point.Exhaust, point.HeaterElement, point.HighLimit}

// see turns the image into the facts that the sequence looks at. Requests are
// added by listen.
func (c *Controller) see(img *point.Image, dt float64) {
	m := c.m
	f := &c.facts
	*f = batch.Facts{InS: c.nowS - c.enterS, Tripped: c.gate.Tripped(), BeansIn: c.roast.beansIn, TrayHot: c.trayHot, HasRecipe: c.recipe != nil,
		Ignored: c.gate.Alarms().ShutDown(), NoWarm: c.bar.Warm != "", NoCharge: c.bar.Charge != ""}

	// A probe that gives nothing is taken for hot, but does not keep a machine
	// running down for ever.
	patient := c.state != batch.RunDown || f.InS < float64(m.Batch.RunDownMaxS)
	allCool := true
	for _, i := range hotInputs {
		x := img.In[i]
		if x.Quality == point.Absent {
			continue
		}
		if !x.Usable() {
			allCool = allCool && !patient
			continue
		}
		if x.V >= float64(m.Batch.RunDownBelow) {
			allCool = false
		}
	}
	f.Hot = !allCool
	if allCool {
		c.coolS += dt
	} else {
		c.coolS = 0
	}
	f.Cool = allCool && c.coolS >= float64(m.Batch.RunDownHoldS)

	if c.recipe != nil {
		off := c.warmthOff(img)
		f.Warm = off <= float64(m.Batch.ReadyBandK)
		f.LostWarm = off > 2*float64(m.Batch.ReadyBandK) // a missed reading is not lost warmth
	}
	heated := c.permit.Value(point.HeatEnable) >= 0.5 // warm from before but unable to heat is not ready
	if f.Warm && heated && (c.state == batch.Warming || c.state == batch.Ready) {
		c.warmS += dt
	} else if f.LostWarm || c.state != batch.Ready {
		c.warmS = 0
	}
	f.Soaked = f.Warm && c.warmS >= float64(m.Batch.SoakS)

	span := plungeSpanS
	if c.state == batch.Charging { // the gate has said so: a slow probe may take its time
		span = float64(m.Batch.ChargeTimeS)
	}
	c.charge.add(c.nowS, img.In[point.Bean], span)
	if c.state == batch.Ready {
		c.slowCharge.add(c.nowS, img.In[point.Bean], slowSpanS)
	} else {
		c.slowCharge.forget()
	}
	f.Plunge = c.charge.fell || c.slowCharge.fell
	switch c.state {
	case batch.Warming, batch.Ready, batch.Cooling:
		f.Unsaid = c.unsaid.add(c.nowS, dt, &c.charge, usable(img, point.Bean), usable(img, point.DrumSkin), usable(img, point.InletAir))
	default:
		f.Unsaid, c.unsaid = false, unsaid{}
	}
	f.ChargeByGate, f.ChargeByProbe = m.Batch.ChargeBy == "gate", m.Batch.ChargeBy == "probe"
	gate := img.In[point.ChargeGateOpen].On()
	c.gateSpent = c.gateSpent && gate
	f.GateOpen = gate && !c.gateSpent
	f.ChargeLimit = f.InS >= float64(m.Batch.ChargeTimeS)

	f.HasDoor = m.HasIn[point.DischargeDoorOpen]
	f.DoorOpen = img.In[point.DischargeDoorOpen].On()
	f.DoorSeen = c.roast.doorSeen
	if c.doorS += dt; !f.DoorOpen {
		c.doorS = 0
	}
	f.DropDue = c.state == batch.Roasting && c.dropDue(img)
	if c.state == batch.Roasting && c.dropNear(img) {
		c.roast.fanDue = true
	}
	if c.trayHot && c.state != batch.Discharging {
		c.trayS += dt
	}
	f.TrayCool = c.trayHot && c.trayCool(img)
	if c.state == batch.Ready {
		c.readyS += dt
	}
	switch {
	case c.state == batch.Held || c.trial.run.Active(): // an experiment has a limit of its own
	case c.state == batch.Warming:
		c.warmingS += dt
	default:
		c.warmingS = 0
	}
	limit := float64(m.Batch.IdleMaxS)
	f.WarmLimit = c.readyS >= limit || c.warmingS >= math.Max(limit, warmUpMaxS)
}

// warmUpMaxS is the least time that a machine is given to become ready: one that
// never does, for a dead element or a recipe beyond its reach, is not heated for
// ever with nobody there (judgement).
const warmUpMaxS = 45 * 60.0

// warmthOff is how far skin or inlet air is from its charge temperature, K; NaN
// when unknown.
func (c *Controller) warmthOff(img *point.Image) float64 {
	skin := math.Abs(usable(img, point.DrumSkin) - float64(c.recipe.Charge.Skin))
	air := math.Abs(usable(img, point.InletAir) - float64(c.recipe.Charge.Air))
	return math.Max(skin, air)
}

// emptyingS is how long the discharge door must have been open without a break
// before the drum may be taken for empty: a contact that only flickers must not
// heat beans which nobody sees any more (judgement).
const emptyingS = 3.0

// dropDue reports whether the roast is to end now: a condition of the recipe's
// drop has come true, unless the operator alone drops, or it is the latest time.
func (c *Controller) dropDue(img *point.Image) bool {
	d := &c.recipe.Drop
	if c.sinceCharge() >= float64(d.LatestS) {
		c.roast.overtime = true
		return true
	}
	return !d.Operator && c.dropReached(img)
}

// dropReached reports whether a condition of the recipe's drop has come true, for
// as long as the drop was put off.
func (c *Controller) dropReached(img *point.Image) bool {
	r := &c.roast
	if r.reachedS == 0 && c.endMet(img) {
		r.reachedS = c.sinceCharge()
	}
	return r.reachedS > 0 && c.sinceCharge() >= r.reachedS+r.longerS
}

// endMet reports whether a condition of the recipe's drop is true.
func (c *Controller) endMet(img *point.Image) bool {
	d, t := &c.recipe.Drop, c.sinceCharge()
	if c.roast.turned && c.probeC(img) >= c.dropAtC() {
		return true
	}
	if d.Loss != nil && c.observing && c.estimate.LossFraction >= float64(*d.Loss) {
		return true
	}
	return d.AfterCrack != nil && c.roast.crackS > 0 && t-c.roast.crackS >= float64(*d.AfterCrack)
}

// How long before a drop the cooling fan starts: longer than it takes to miss one
// that does not turn, at any usual rise of the beans (estimates, common practice,
// no source).
const (
	fanAheadS    = 20.0
	fanAheadK    = 4.0
	fanAheadLoss = 0.004
)

// dropNear reports whether the drop will soon be due, by whichever condition
// comes first.
func (c *Controller) dropNear(img *point.Image) bool {
	d, t := &c.recipe.Drop, c.sinceCharge()
	switch {
	case t >= float64(d.LatestS)-fanAheadS:
		return true
	case c.roast.turned && c.probeC(img) >= c.dropAtC()-fanAheadK:
		return true
	case d.Loss != nil && c.observing && c.estimate.LossFraction >= float64(*d.Loss)-fanAheadLoss:
		return true
	}
	return d.AfterCrack != nil && c.roast.crackS > 0 && t-c.roast.crackS >= float64(*d.AfterCrack)-fanAheadS
}

// probeC is the bean probe: the estimator's view of it, free of noise, while
// there is one, else the reading.
func (c *Controller) probeC(img *point.Image) float64 {
	if c.observing && c.estimate.Usable {
		return c.estimate.ProbeC
	}
	return usable(img, point.Bean)
}

// trayCool reports whether tray or time says that the beans are cooled.
func (c *Controller) trayCool(img *point.Image) bool {
	limit := float64(c.m.Batch.CoolS)
	if r := c.roast.recipe; r != nil && r.CoolS > 0 {
		limit = float64(r.CoolS)
	}
	if x := img.In[point.CoolingTray]; x.Usable() && c.trayS > 30 && x.V < float64(c.m.Batch.CoolBelow) {
		return true
	}
	return c.trayS >= limit
}

// flowKgPerH is the air flow: measured, else that of the blower's frequency.
func (c *Controller) flowKgPerH(img *point.Image) float64 {
	if x := img.In[point.AirFlow]; x.Usable() {
		return x.V
	}
	hz := c.permit.Value(point.BlowerSpeed)
	if c.permit.Value(point.BlowerRun) < 0.5 {
		hz = 0
	}
	return c.m.FlowKgPerS(hz) * 3600
}

func (c *Controller) ambientC(img *point.Image) (float64, bool) {
	if x := img.In[point.Ambient]; x.Usable() {
		return x.V, true
	}
	return 25, false
}

// stageReached reports whether a stage's moment has come.
func (c *Controller) stageReached(t profiles.Trigger, img *point.Image) bool {
	switch t.Kind {
	case profiles.AtTime:
		return c.sinceCharge() >= t.Value
	case profiles.AtBean:
		return c.roast.turned && c.probeC(img) >= t.Value
	case profiles.AtLoss:
		return c.observing && c.estimate.LossFraction >= t.Value
	case profiles.AfterCrack:
		return c.roast.crackS > 0 && c.sinceCharge()-c.roast.crackS >= t.Value
	}
	return true // at charge
}

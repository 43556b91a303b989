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
	*f = batch.Facts{InS: c.nowS - c.enterS, Tripped: c.gate.Tripped(), BeansIn: c.roast.beansIn, HasRecipe: c.recipe != nil}

	f.Hot = false
	allCool := true
	for _, i := range hotInputs {
		x := img.In[i]
		if x.Quality == point.Absent {
			continue
		}
		if !x.Usable() { // unknown is not cool
			allCool = false
			continue
		}
		if x.V >= float64(m.Batch.RunDownBelow) {
			f.Hot, allCool = true, false
		}
	}
	if allCool {
		c.coolS += dt
	} else {
		c.coolS = 0
	}
	f.Cool = allCool && c.coolS >= float64(m.Batch.RunDownHoldS)

	if c.recipe != nil {
		off := c.warmthOff(img)
		f.Warm = off <= float64(m.Batch.ReadyBandK)
		f.LostWarm = !(off <= 2*float64(m.Batch.ReadyBandK))
	}
	if f.Warm && (c.state == batch.Warming || c.state == batch.Ready) {
		c.warmS += dt
	} else if f.LostWarm || c.state != batch.Ready {
		c.warmS = 0
	}
	f.Soaked = f.Warm && c.warmS >= float64(m.Batch.SoakS)

	c.charge.add(c.nowS, img.In[point.Bean])
	f.Plunge = c.charge.fell
	f.ChargeByGate, f.ChargeByProbe = m.Batch.ChargeBy == "gate", m.Batch.ChargeBy == "probe"
	f.GateOpen = img.In[point.ChargeGateOpen].On()
	f.ChargeLimit = f.InS >= float64(m.Batch.ChargeTimeS)

	f.HasDoor = m.HasIn[point.DischargeDoorOpen]
	f.DoorOpen = img.In[point.DischargeDoorOpen].On()
	f.DoorSeen = c.roast.doorSeen
	f.DropTimeOver = f.InS >= float64(m.Batch.DropTimeS)
	f.DropDue = c.state == batch.Roasting && c.dropDue(img)
	f.TrayCool = c.state == batch.Cooling && c.trayCool(img)
	if c.state == batch.Warming || c.state == batch.Ready {
		f.WarmLimit = c.state == batch.Ready && f.InS >= float64(m.Batch.IdleMaxS)
	}
}

// warmthOff is how far skin or inlet air is from its charge temperature, K; NaN
// when unknown.
func (c *Controller) warmthOff(img *point.Image) float64 {
	skin := math.Abs(usable(img, point.DrumSkin) - float64(c.recipe.Charge.Skin))
	air := math.Abs(usable(img, point.InletAir) - float64(c.recipe.Charge.Air))
	return math.Max(skin, air)
}

// dropDue reports whether a condition of the recipe's drop has come true.
func (c *Controller) dropDue(img *point.Image) bool {
	d, t := &c.recipe.Drop, c.sinceCharge()
	if t >= float64(d.LatestS) {
		c.roast.overtime = true
		return true
	}
	if d.Operator {
		return false
	}
	if d.Bean != nil && c.roast.turned && c.probeC(img) >= float64(*d.Bean) {
		return true
	}
	if d.Loss != nil && c.observing && c.estimate.LossFraction >= float64(*d.Loss) {
		return true
	}
	return d.AfterCrack != nil && c.roast.crackS > 0 && t-c.roast.crackS >= float64(*d.AfterCrack)
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
	if c.recipe != nil && c.recipe.CoolS > 0 {
		limit = float64(c.recipe.CoolS)
	}
	if x := img.In[point.CoolingTray]; x.Usable() && c.facts.InS > 30 && x.V < float64(c.m.Batch.CoolBelow) {
		return true
	}
	return c.facts.InS >= limit
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

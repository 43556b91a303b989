package control

import (
	"math"

	"drumwright/control/batch"
	"drumwright/control/heat"
	"drumwright/control/pid"
	"drumwright/io/point"
	"drumwright/io/record"
)

// wishAll wishes every output for the state the sequence is in.
func (c *Controller) wishAll(img *point.Image, dt float64, rec *record.Scan) {
	w := &c.wish.Out
	*w = [point.NumOutputs]float64{}
	c.plan(img, rec)
	turning := c.wishMotion(w, dt, rec)
	heatOn := turning && c.heats()
	if heatOn {
		w[point.HeatEnable] = 1
	}
	c.wishHeat(w, img, heatOn, dt, rec)
	c.wishTray(w)
	c.wishHorn(w)
	c.wishHeartbeat(w, dt)
	rec.Wish = *w
}

// heats reports whether this state uses heat.
func (c *Controller) heats() bool {
	switch c.state {
	case batch.Warming, batch.Ready, batch.Charging, batch.Roasting:
		return true
	case batch.Cooling: // the empty drum is kept warm for the next batch
		return !c.facts.NoWarm
	}
	return false
}

// wishMotion turns drum and blower and reports whether both are asked to run.
// Before the drum first turns the horn sounds for the machine's time.
func (c *Controller) wishMotion(w *[point.NumOutputs]float64, dt float64, rec *record.Scan) bool {
	byHand := c.state == batch.Cold && c.turn.on() // no air and no heat with it
	if c.state == batch.Cold && !byHand {
		c.startS = 0
		c.set.ledKgPerH, c.set.askedKgPerH = 0, 0
		return false
	}
	was := c.permit.Value(point.DrumRun) >= 0.5
	if was {
		c.startS = 0 // a drum that stops is warned of again before it turns
	}
	if c.state == batch.Tripped && !was { // a trip starts nothing; the gate keeps on what was on
		return false
	}
	// What runs on from before a restart is not stopped for the horn.
	drum, blower := c.restart.drum, c.restart.blower
	exposed := !was && !drum && !known(&c.img, point.CoverClosed, true)
	if exposed {
		c.startS = 0 // it is warned of in full once the cover is shut
	}
	warning := !was && !drum && c.startS < float64(c.m.Batch.HornS)
	if blower && c.set.ledKgPerH == 0 {
		c.set.ledKgPerH = c.set.flowKgPerH
	}
	if (blower || !warning && !exposed) && !byHand {
		c.leadFlow(dt)
		w[point.BlowerRun], w[point.BlowerSpeed] = 1, c.m.BlowerHz(c.set.ledKgPerH)
	}
	switch {
	case exposed: // no drum begins to turn where hands can reach it
		return false
	case warning:
		c.startS += dt
		w[point.Horn] = 1
		return false
	}
	skin := c.wantedSkinSpeed(dt)
	rec.Drum.SetMMPerS = skin
	w[point.DrumRun], w[point.DrumSpeed] = 1, c.clampDrum(c.drive.HzFromSkin(skin))
	rec.Drum.SetHz = w[point.DrumSpeed]
	return true
}

func (c *Controller) clampDrum(hz float64) float64 {
	return math.Max(float64(c.m.Drum.MinHz), math.Min(float64(c.m.Drum.MaxHz), hz))
}

// wantedSkinSpeed is what a person at the glass asks for, else follows the
// schedule over estimated loss in a roast, and is the idle speed otherwise.
func (c *Controller) wantedSkinSpeed(dt float64) float64 {
	if c.turn.ledMMS > 0 {
		return c.turn.turnSpeed(dt)
	}
	if c.follow != nil && c.roast.beansIn {
		if c.observing {
			return c.follow.Step(c.estimate.LossFraction, dt)
		}
		return c.follow.Step(c.follow.LossFrac(), dt)
	}
	return float64(c.m.Drum.IdleSpeed)
}

// wishHeat runs both loops, also when they are off, so that they know where
// they stand when they are switched on.
func (c *Controller) wishHeat(w *[point.NumOutputs]float64, img *point.Image, on bool, dt float64, rec *record.Scan) {
	ambient, _ := c.ambientC(img)
	flow := c.flowKgPerH(img) / 3600
	mode, hand := pid.Auto, 0.0
	switch {
	case !on:
		mode = pid.Manual
	case c.trying(airIdx):
		mode, hand = pid.Manual, c.trial.duty
	case c.hand[airIdx].on:
		mode, hand = pid.Manual, c.hand[airIdx].duty
	case c.closed:
		mode = pid.Cascade
	}
	a := c.air.Step(heat.AirIn{Mode: mode, SetC: c.set.inletC, RemoteC: c.set.inletC, MeasuredC: usable(img, point.InletAir),
		IntakeC: ambient, FlowKgPerS: flow, ManualDuty: hand})
	c.watchReach(&a, dt, img, rec)
	if !on {
		a.Duty, a.PowerW = 0, 0 // a loop without a reading repeats its last
	}
	rec.Air = record.Loop{Mode: c.loopMode(airIdx, on, mode), SetC: a.SetC, MeasuredC: img.In[point.InletAir].V, Duty: a.Duty, PowerW: a.PowerW, Limited: a.AtMin || a.AtMax}

	bmode, bhand := pid.Auto, 0.0
	switch {
	case !on:
		bmode = pid.Manual
	case c.trying(baseIdx):
		bmode, bhand = pid.Manual, c.trial.duty
	case c.hand[baseIdx].on:
		bmode, bhand = pid.Manual, c.hand[baseIdx].duty
	}
	bedWPerK := 0.0
	if c.observing {
		bedWPerK = float64(c.m.Bed.DrumToBeans) * c.estimate.HeatFactor
	}
	b := c.base.Step(heat.BaseIn{Mode: bmode, SetC: c.set.skinC, SkinC: usable(img, point.DrumSkin), AmbientC: ambient,
		InletC: usable(img, point.InletAir), FlowKgPerS: flow, BedWPerK: bedWPerK, BedC: c.estimate.BeanC, ManualDuty: bhand})
	if !on {
		b.Duty, b.PowerW = 0, 0
	}
	rec.Base = record.Loop{Mode: c.loopMode(baseIdx, on, bmode), SetC: b.SetC, MeasuredC: img.In[point.DrumSkin].V, Duty: b.Duty, PowerW: b.PowerW, Limited: b.AtMin || b.AtMax}

	c.lastDuty = [2]float64{airIdx: a.Duty, baseIdx: b.Duty}
	w[point.AirHeaterPower] = c.proportion(airIdx, a.Duty)
	w[point.RadiantPower] = c.proportion(baseIdx, b.Duty)
}

// proportion gives the output for a duty: itself, or on and off in windows.
func (c *Controller) proportion(i int, duty float64) float64 {
	if c.cut[i] == nil {
		return duty
	}
	if c.cut[i].Step(duty) {
		return 1
	}
	return 0
}

// applied tells the loops what really went out.
func (c *Controller) applied(rec *record.Scan) {
	enabled := c.permit.Value(point.HeatEnable) >= 0.5
	for i, o := range [...]point.Output{point.AirHeaterPower, point.RadiantPower} {
		duty := c.permit.Value(o)
		asked := duty == c.wish.Out[o]
		if c.cut[i] != nil { // on or off, whatever share the gate leaves of it
			asked = (duty >= 0.5) == (c.wish.Out[o] >= 0.5)
		}
		if enabled && asked {
			continue // a loop takes its own duty as applied
		}
		if c.trying(i) {
			c.endTrial(c.withheld(), rec)
		}
		if i == airIdx {
			c.air.Track(duty)
		} else {
			c.base.Track(duty)
		}
	}
}

func (c *Controller) loopMode(i int, on bool, m pid.Mode) record.Mode {
	switch {
	case !on:
		return record.Off
	case c.trying(i):
		return record.Experimenting
	case m == pid.Manual:
		return record.Manual
	case m == pid.Cascade:
		return record.Cascaded
	}
	return record.Automatic
}

// wishTray runs fan and stirrer from the call for the drop until the tray is
// cool, whatever state the sequence goes to meanwhile. The fan starts before
// that, so that a dead one is found while the beans still turn in the drum.
func (c *Controller) wishTray(w *[point.NumOutputs]float64) {
	if c.state == batch.Discharging || c.trayHot {
		w[point.CoolingFan], w[point.Stirrer] = 1, 1
	}
	if c.state == batch.Roasting && c.roast.fanDue {
		w[point.CoolingFan] = 1
	}
}

// dropHornS is the length of the horn's calls for the drop, and of the pauses
// between them. Where the operator alone drops it calls dropCalls times.
const (
	dropHornS = 2.0
	dropCalls = 2
)

func (c *Controller) wishHorn(w *[point.NumOutputs]float64) {
	r := &c.roast
	sinceS, calling := c.nowS-c.enterS, c.state == batch.Discharging && r.dropS == 0
	if c.state == batch.Roasting && r.called {
		sinceS = c.nowS - r.calledS
		calling = sinceS < 2*dropCalls*dropHornS
	}
	if calling && math.Mod(sinceS, 2*dropHornS) < dropHornS {
		w[point.Horn] = 1
	}
}

// wishHeartbeat changes the life sign at the rhythm the machine file gives. Only
// a finished scan gets this far.
func (c *Controller) wishHeartbeat(w *[point.NumOutputs]float64, dt float64) {
	if !c.m.HasOut[point.Heartbeat] {
		return
	}
	rhythm := float64(max(1, c.m.Out[point.Heartbeat].RefreshScans)) * float64(c.m.Scan.PeriodS)
	c.beatS += dt
	if c.beatS >= rhythm-1e-9 {
		c.beatS = 0
		c.beat = 1 - c.beat
	}
	w[point.Heartbeat] = c.beat
}

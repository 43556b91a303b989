package control

import (
	"fmt"
	"math"

	"drumwright/control/bean"
	"drumwright/control/beanloop"
	"drumwright/control/heat"
	"drumwright/io/point"
	"drumwright/io/record"
)

// reach is what is known of whether the curve can still be met.
type reach struct {
	forecast beanloop.Forecast
	nextS    float64 // scan time of the next forecast
	fullS    float64 // for which the air heater has been at its most
	told     bool    // that the curve is out of reach
	otherS   float64 // for which the forecast has said otherwise than was told
}

// forget drops a forecast of a plan that is none any more: nothing else is to be
// asked of it in this scan.
func (r *reach) forget() { r.forecast, r.nextS = beanloop.Forecast{}, 0 }

// Judgement: how far off a temperature must be to count as held back, how often
// the forecast is made, from which shortfall it is said and taken back, and how long
// that must stand: an estimate that swings makes forecasts that swing.
const (
	heldBackK     = 3.0
	slewHeldK     = 8.0
	forecastEachS = 5.0
	sayShortC     = 1.0
	noLongerC     = 0.4
	forecastHoldS = 15.0
	// fullKnownS is how long a heater must have been full for its air to be the
	// most that it gives.
	fullKnownS = 45.0
)

// bound is what holds the bean loop back in this scan.
func (c *Controller) bound(b *beanloop.Output, a *heat.AirOut, measuredC float64) record.Bound {
	switch {
	case !c.closed:
		return record.Unbound
	case a.LowFlow:
		return record.BoundAirFlow
	case a.AtMax && a.SetC-measuredC > heldBackK:
		return record.BoundAirHeater
	case b.ByExhaust:
		return record.BoundExhaust
	case b.AtHigh:
		return record.BoundInletHigh
	case b.AtLow:
		return record.BoundInletLow
	case math.Abs(b.WantedC-b.SetC) > slewHeldK:
		return record.BoundSlew
	}
	return record.Unbound
}

// watchReach says what holds the loop back, and by how much and how late the
// curve's end is then missed.
func (c *Controller) watchReach(a *heat.AirOut, dt float64, img *point.Image, rec *record.Scan) {
	r := &c.reach
	bound := c.bound(&c.beanOut, a, usable(img, point.InletAir))
	rec.Bean.Bound = bound
	if r.fullS += dt; bound != record.BoundAirHeater {
		r.fullS = 0
	}
	switch {
	case !c.closed || !c.roast.turned: // before the turn little is known of the beans
		r.forecast, r.nextS = beanloop.Forecast{}, 0
	case c.nowS >= r.nextS && (bound != record.Unbound || r.told):
		r.nextS = c.nowS + forecastEachS
		t := c.sinceCharge()
		r.forecast = c.loop.Forecast(c.estimate, inputOf(c, img, t), c.wanted(), c.heaterTopC(img))
	case bound == record.Unbound && !r.told:
		r.forecast = beanloop.Forecast{}
	}
	rec.Bean.ShortC, rec.Bean.LateS = r.forecast.ShortC, r.forecast.LateS
	if otherwise := !r.told && r.forecast.ShortC >= sayShortC || r.told && r.forecast.ShortC < noLongerC; !otherwise {
		r.otherS = 0
		return
	}
	if r.otherS += dt; r.otherS < forecastHoldS && c.closed {
		return
	}
	r.otherS, r.told = 0, !r.told
	if r.told {
		rec.Add(record.Event{Kind: record.Warning, Name: "curve-out-of-reach", Value: r.forecast.ShortC, Limit: sayShortC,
			Text: fmt.Sprintf("the curve cannot be met, held back by: %s; about %.0f °C short at its end, %s", heldBy(bound), r.forecast.ShortC, late(r.forecast.LateS))})
	} else {
		rec.Add(record.Event{Kind: record.Cleared, Name: "curve-out-of-reach", Text: "the curve can be met again, or is no longer followed"})
	}
}

func heldBy(b record.Bound) string {
	if b == record.Unbound {
		return "lost time"
	}
	return b.String()
}

func late(s float64) string {
	if s >= beanloop.LongestS {
		return fmt.Sprintf("not reached within %.0f minutes after", beanloop.LongestS/60)
	}
	return fmt.Sprintf("reached about %.0f s late", s)
}

// heaterTopC is the hottest air that the heater can give: what it gives while it
// has long been full, else by its rated power.
func (c *Controller) heaterTopC(img *point.Image) float64 {
	if c.reach.fullS > fullKnownS {
		return c.inletC
	}
	h := &c.m.Heaters.Air
	w := c.flowKgPerH(img) / 3600 * bean.AirCpJPerKgK(c.inletC)
	room, _ := c.ambientC(img)
	return room + float64(h.MaxDuty)*float64(h.PowerW)*float64(h.Efficiency)/w
}

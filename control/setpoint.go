package control

import (
	"math"

	"drumwright/control/batch"
	"drumwright/control/beanloop"
	"drumwright/io/point"
	"drumwright/io/record"
)

// setPoints are the set points in force, and how they are led.
type setPoints struct {
	inletC, skinC float64
	flowKgPerH    float64 // as asked by recipe or state
	ledKgPerH     float64 // after its ramp
	rampKgPerHS   float64 // rate of the present change
	askedKgPerH   float64

	leadFromC, leadToC   float64 // inlet air led over a stage's time
	leadStartS, leadEndS float64
}

func inputOf(c *Controller, img *point.Image, sinceS float64) beanloop.Input {
	return beanloop.Input{SinceChargeS: sinceS, InletC: c.inletC, SkinC: usable(img, point.DrumSkin), FlowKgPerS: c.flowKgPerH(img) / 3600, ExhaustC: usable(img, point.Exhaust)}
}

// plan sets the set points for the state: charge temperatures until charge, the
// recipe's stages in the roast, charge temperatures again for the next batch.
func (c *Controller) plan(img *point.Image, rec *record.Scan) {
	s := &c.set
	switch c.state {
	case batch.Warming, batch.Ready, batch.Charging, batch.Cooling:
		ch := &c.recipe.Charge
		s.inletC, s.skinC, s.flowKgPerH = float64(ch.Air), float64(ch.Skin)+c.skinLeadK(), c.chargeFlow()
		if c.state == batch.Warming {
			s.flowKgPerH = float64(c.m.Air.WarmFlow)
			if c.facts.Warm { // settle at the flow at which the beans will meet the air
				s.flowKgPerH = c.chargeFlow()
			}
		}
		if c.state == batch.Warming || c.state == batch.Cooling {
			s.inletC = c.cooledInlet(img)
		}
	case batch.Roasting, batch.Held:
		if c.state == batch.Roasting {
			c.advanceStages(img)
		}
		if set := c.beanSet(img, rec); !math.IsNaN(set) {
			s.inletC = set
		} else if s.leadEndS > s.leadStartS {
			share := math.Min(1, (c.nowS-s.leadStartS)/(s.leadEndS-s.leadStartS))
			s.inletC = s.leadFromC + share*(s.leadToC-s.leadFromC)
			if share == 1 {
				s.leadEndS = s.leadStartS
			}
		}
	case batch.RunDown, batch.Tripped:
		s.flowKgPerH = float64(c.m.Air.CoolFlow)
	}
	if c.trial.run.Active() { // all that bears on the loop stays as it was
		s.inletC, s.skinC, s.flowKgPerH = c.trial.inletC, c.trial.skinC, c.trial.flowKgPerH
	}
	s.inletC = math.Min(s.inletC, float64(c.m.Loops.Air.MaxSet))
	s.skinC = math.Min(s.skinC, float64(c.m.Loops.Base.MaxSet))
}

// cooledInletKPerK is how much colder than for charge the air is asked for each
// kelvin that the drum skin is above its band (judgement).
const cooledInletKPerK = 4.0

// cooledInlet is the inlet air for charge, colder while a drum that is still hot
// from the last batch has to come down.
func (c *Controller) cooledInlet(img *point.Image) float64 {
	ch := &c.recipe.Charge
	over := usable(img, point.DrumSkin) - float64(ch.Skin) - float64(c.m.Batch.ReadyBandK)
	if !(over > 0) {
		return float64(ch.Air)
	}
	low := math.Min(float64(c.m.Loops.Air.MinSet), float64(ch.Air))
	return math.Max(low, float64(ch.Air)-cooledInletKPerK*over)
}

// skinLeadK is what earlier batches have taught to add to the drum skin's set
// point, so that the skin at charge is what the recipe asks for. It stays well
// inside the band in which the machine counts as ready.
func (c *Controller) skinLeadK() float64 {
	if c.lessons == nil {
		return 0
	}
	most := float64(c.m.Batch.ReadyBandK) / 2
	return math.Max(-most, math.Min(most, c.lessons.Path.LeadK(c.fromCold)))
}

func (c *Controller) chargeFlow() float64 {
	if f := float64(c.recipe.Charge.Flow); f > 0 {
		return f
	}
	return float64(c.m.Air.Nominal)
}

// advanceStages begins every stage whose moment has come, in order.
func (c *Controller) advanceStages(img *point.Image) {
	s := &c.set
	for c.roast.stage < len(c.recipe.Stages) {
		st := &c.recipe.Stages[c.roast.stage]
		if !c.stageReached(st.When, img) {
			return
		}
		c.roast.stage++
		if st.Skin != nil {
			s.skinC = float64(*st.Skin)
		}
		if st.Flow != nil {
			s.flowKgPerH = float64(*st.Flow)
		}
		if st.Inlet != nil {
			s.leadFromC, s.leadToC = s.inletC, float64(*st.Inlet)
			s.leadStartS = c.nowS
			s.leadEndS = c.nowS + math.Max(float64(st.OverS), float64(c.m.Scan.PeriodS))
		}
	}
}

// leadFlow moves the air flow to its target over the machine's ramp time, so
// that the heater can follow.
func (c *Controller) leadFlow(dt float64) {
	s := &c.set
	if s.flowKgPerH != s.askedKgPerH {
		s.askedKgPerH = s.flowKgPerH
		s.rampKgPerHS = math.Inf(1)
		if r := float64(c.m.Air.RampS); r > 0 {
			s.rampKgPerHS = math.Abs(s.flowKgPerH-s.ledKgPerH) / r
		}
	}
	step := s.rampKgPerHS * dt
	s.ledKgPerH += math.Max(-step, math.Min(step, s.flowKgPerH-s.ledKgPerH))
}

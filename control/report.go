package control

import (
	"math"

	"drumwright/control/batch"
	"drumwright/io/point"
	"drumwright/io/record"
)

const beanInput = point.Bean

// next is what the operator does next, by state.
var next = [batch.NumStates]string{
	batch.Cold:        "Load a recipe and start warming at the machine.",
	batch.Warming:     "Wait until drum and air are warm. Weigh the green coffee.",
	batch.Ready:       "Charge the beans.",
	batch.Charging:    "Let all beans in and shut the gate.",
	batch.Roasting:    "Listen for first crack and note it.",
	batch.Discharging: "Open the discharge door and let the beans out.",
	batch.Cooling:     "Stir until the beans are cool, then empty the tray.",
	batch.RunDown:     "Leave drum and air running until the machine is cool.",
	batch.Held:        "Heat is held. Resume or drop.",
	batch.Tripped:     "",
}

// report fills the record with what this scan decided.
func (c *Controller) report(img *point.Image, rec *record.Scan) {
	rec.State, rec.InS, rec.Next = c.state.String(), c.nowS-c.enterS, next[c.state]
	if c.state == batch.Tripped {
		rec.Next = c.gate.State().Tell()
	}
	if c.state == batch.Cold && c.recipe != nil {
		rec.Next = "Start warming at the machine."
	}
	r := &c.roast
	b := &rec.Batch
	*b = record.Batch{}
	if c.recipe != nil {
		b.Recipe, b.RecipeHash, b.GreenKg = c.recipe.Name, c.recipe.Hash, float64(c.recipe.Charge.Green)
		if d := c.recipe.Drop.Bean; d != nil {
			b.TargetDropC = float64(*d)
		}
	}
	if r.running {
		b.ID, b.SinceS, b.FirstCrackS, b.DropS, b.DropC, b.Stage, b.LossAtDrop = r.id, c.sinceCharge(), r.crackS, r.dropS, r.dropC, r.stage, r.dropLoss
		if r.turned {
			b.TurnS, b.TurnC = r.turnS, r.turnC
		}
	}
	e := &rec.Bean
	high, low := e.LimitedHigh, e.LimitedLow
	*e = record.Bean{Active: c.closed, EstimatorOff: !c.observing}
	if c.closed {
		e.LimitedHigh, e.LimitedLow = high, low
	}
	if c.curve != nil && r.running && r.dropS == 0 && r.beansIn {
		e.TargetC, e.TargetKPerS, _ = c.curve.At(c.sinceCharge())
	}
	if c.observing {
		x := &c.estimate
		e.TrueC, e.TrueSdC, e.RateKPerS, e.RateSdKPerS = x.BeanC, x.BeanSdC, x.RateKPerS, x.RateSdKPerS
		e.MoistureDB, e.Loss, e.LossSd, e.ProbeLagS, e.HeatFactor = x.MoistureDB, x.LossFraction, x.LossSd, x.TauS, x.HeatFactor
	}
	d := &rec.Drum
	d.MeasuredRPM = c.gate.ShaftRPM(img)
	d.MeasuredMMPerS = c.drive.SkinFromRPM(d.MeasuredRPM)
	d.FlowSetKgPerH, d.FlowKgPerH = c.set.ledKgPerH, c.flowKgPerH(img)
	if math.IsNaN(d.FlowKgPerH) {
		d.FlowKgPerH = 0
	}
}

package control

import (
	"math"

	"drumwright/io/point"
	"drumwright/io/record"
)

// report fills the record with what this scan decided. Batch figures are those
// of the recipe the batch was charged with, also when the next is loaded.
func (c *Controller) report(img *point.Image, rec *record.Scan) {
	c.reportTrial(rec)
	rec.State, rec.InS, rec.Next = c.state.String(), c.nowS-c.enterS, c.tell(rec)
	c.offers(img, rec)
	rec.Forecast = c.forecast
	r := &c.roast
	b := &rec.Batch
	*b = record.Batch{}
	recipe := c.recipe
	if r.running && r.certain {
		recipe = r.recipe
		b.ID, b.SinceS, b.FirstCrackS, b.DropS, b.DropC, b.Stage, b.LossAtDrop = r.id, c.sinceCharge(), r.crackS, r.dropS, r.dropC, r.stage, r.dropLoss
		if r.turned {
			b.TurnS, b.TurnC = r.turnS, r.turnC
		}
	}
	if recipe != nil {
		b.Recipe, b.RecipeHash, b.GreenKg = recipe.Name, recipe.Hash, float64(recipe.Charge.Green)
		if d := recipe.Drop.Bean; d != nil {
			b.TargetDropC = float64(*d)
		}
	}
	if b.ID != 0 {
		b.GreenKg = r.greenKg
		if r.dropAtC > 0 {
			b.TargetDropC = r.dropAtC
		}
		c.planned(b)
	}
	if c.observing && r.crackS == 0 {
		b.CrackDueS, b.CrackDueSdS = c.crackDueS, c.crackDueSdS
	}
	e := &rec.Bean
	e.Active, e.EstimatorOff = c.closed, !c.observing
	if c.curve != nil && r.running && r.dropS == 0 && !r.ended {
		e.TargetC, e.TargetKPerS, _ = c.wanted().At(c.sinceCharge())
	}
	if c.observing {
		x := &c.estimate
		e.TrueC, e.TrueSdC, e.RateKPerS, e.RateSdKPerS = x.BeanC, x.BeanSdC, x.RateKPerS, x.RateSdKPerS
		e.GreenDB, e.LossDoubt = x.GreenDB, record.LossDoubt(x.Weighing)
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

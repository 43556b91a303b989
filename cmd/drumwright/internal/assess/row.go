package assess

import (
	"fmt"
	"math"
	"math/rand/v2"

	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/record"
	"drumwright/profiles"
)

// A row of batches back to back, from a cold machine.
const (
	rowBatches  = 10
	rowMaxS     = 6 * 3600.0
	rowReactS   = 0.5  // of the operator to the call for the drop
	rowEmptyS   = 15.0 // until the drum is empty, where no contact tells
	rowMorningC = 15.0 // room at the first batch
	rowNoonC    = 25.0 // and at the last
)

// RowBatch is one batch of a row.
type RowBatch struct {
	DropC     float64 `json:"drop_c"` // bean probe without noise
	DropS     float64 `json:"drop_s"`
	Loss      float64 `json:"loss"`       // true, share of green mass
	LossError float64 `json:"loss_error"` // estimated less true
	RmsC      float64 `json:"rms_c"`
	SkinC     float64 `json:"skin_c"` // by its probe, just before charge
	WaitS     float64 `json:"wait_s"` // from the start or the last drop to charge
}

// row plays n batches of a curve back to back. The machine is off by what shops
// have (registers.Drawn); from batch to batch mass and mains differ by up to 1 %
// and moisture by 0.2 points, and the room warms up through the day.
func row(s Size, c *Curve, seed uint64, n int, learning bool) ([]RowBatch, error) {
	params := registers.ParamsFor(s.Machine).With(registers.Drawn(seed))
	noise := params.NoiseC
	params.NoiseC, params.StepC = 0, 0
	machine, err := plant.New(params, seed)
	if err != nil {
		return nil, err
	}
	core, err := control.New(s.Machine, control.Restored{})
	if err != nil {
		return nil, err
	}
	p := newPupil(s, c)
	cell := &Cell{Size: s, Curve: c}
	b := &batch{cell: cell, core: core}
	b.field = field{m: s.Machine, machine: machine, wiring: registers.NewWiring(s.Machine), rng: rand.New(rand.NewPCG(seed, 0x726f77)), noiseC: noise, flow: 1}
	r := s.recipe(c)
	drop := profiles.Celsius(c.DropC)
	r.Drop = profiles.Drop{Bean: &drop, LatestS: 1800}
	draw := rand.New(rand.NewPCG(seed, 0x646179))
	span := func(w float64) float64 { return w * (2*draw.Float64() - 1) }
	room := func(i int) float64 {
		return rowMorningC + (rowNoonC-rowMorningC)*float64(i)/float64(max(1, n-1))
	}
	machine.SetAmbientC(room(0))
	if err := b.scan(); err != nil {
		return nil, err
	}
	b.cmds = append(b.cmds, control.Command{Command: record.Command{Kind: record.LoadRecipe, Local: true}, Loaded: r, Lessons: p.now()})
	b.say(record.StartWarming)
	var out []RowBatch
	var now RowBatch
	charged, dropped, said, sinceS := false, false, false, 0.0
	for len(out) < n {
		if b.nowS > rowMaxS {
			return nil, fmt.Errorf("%s, row of seed %d: only %d batches within %.0f h: %s", s.Name, seed, len(out), rowMaxS/3600, b.rec.Next)
		}
		if err := b.scan(); err != nil {
			return nil, err
		}
		if b.trip != "" {
			return nil, fmt.Errorf("%s, row of seed %d, batch %d: tripped by %s", s.Name, seed, len(out)+1, b.trip)
		}
		if course := p.see(&b.rec); course != nil {
			now.RmsC, _ = course.Rms()
			if learning {
				b.cmds = append(b.cmds, control.Command{Command: record.Command{Kind: record.Learned, Local: true}, Lessons: p.now()})
			}
		}
		switch b.rec.State {
		case "ready":
			if charged || b.rec.InS < settleS {
				continue
			}
			i := len(out)
			machine.SetAmbientC(room(i))
			machine.SetMainsV(params.MainsV * (1 + span(0.01)))
			now = RowBatch{SkinC: machine.Readings().SkinProbe.C, WaitS: b.nowS - sinceS}
			if err := machine.Charge(float64(s.Charge.Green)*(1+span(0.01)), params.MoistureWB+span(0.002)); err != nil {
				return nil, err
			}
			charged, dropped, said = true, false, false
			b.say(record.Charged)
		case "discharging":
			if !dropped && b.rec.InS >= rowReactS {
				dropped = true
				now.DropC, now.DropS = machine.Readings().BeanProbe.C, b.rec.Batch.SinceS
				now.Loss = machine.Truth().LossFrac
				machine.Drop()
			}
			if dropped && !said && b.rec.InS >= rowReactS+rowEmptyS && !b.hasDoor() {
				said = true
				b.say(record.Dropped)
			}
		case "cooling", "warming":
			if charged && b.rec.State == "cooling" {
				now.LossError = b.rec.Batch.LossAtDrop - now.Loss
				charged, sinceS = false, b.nowS
				out = append(out, now)
			}
			if b.rec.State == "warming" && b.rec.InS == 0 {
				machine.EmptyTray()
			}
		}
	}
	return out, nil
}

// spread is the standard deviation over the batches of a row, of what of gives.
func spread(row []RowBatch, of func(*RowBatch) float64) float64 {
	n := float64(len(row))
	var sum, sum2 float64
	for i := range row {
		sum += of(&row[i])
	}
	for i := range row {
		sum2 += math.Pow(of(&row[i])-sum/n, 2)
	}
	return math.Sqrt(sum2 / math.Max(1, n-1))
}

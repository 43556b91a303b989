package assess

import (
	"cmp"
	"fmt"
	"math/rand/v2"

	"drumwright/control"
	"drumwright/control/learn"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Cell is one batch of the grid.
type Cell struct {
	Size  Size
	Curve *Curve
	Group Group
	Name  string
	Seed  uint64 // of the noise
	Off   Deviation

	Lessons *learn.Lessons // of earlier batches; nil = none
	Crack   float64        // true bean temperature at which the operator hears first crack, °C; 0 = never
	Told    *Knowledge     // what the controller is told beside the usual; nil = nothing
}

// Group says which goals hold for a cell.
type Group string

// The groups.
const (
	Nominal   Group = "nominal"
	Single    Group = "single"
	Corner    Group = "corner"
	Random    Group = "random"
	Structure Group = "structure" // the machine is of another form than the controller's model
)

// settleS is how long the machine is ready before the beans go in; startMaxS
// how long it may take to be ready.
const (
	settleS   = 10.0
	startMaxS = 900.0
)

// Knowledge is what a shop may have measured and told the controller.
type Knowledge struct {
	Mass       bool    // the batch was weighed in
	GasShare   bool    // the bean probe's gas share was calibrated
	GasShareBy float64 // error of that
	Moisture   bool    // the green moisture was measured
	MoistureBy float64 // error of that, wet basis
}

// told is the cell with what the controller is told put into recipe and machine
// file, and the rest left as the deviation from it. What the machine really does
// stays the same.
func (c *Cell) told() *Cell {
	k := c.Told
	if k == nil {
		return c
	}
	t, m := *c, *c.Size.Machine
	t.Size.Machine = &m
	if k.Mass {
		t.Size.Charge.Green *= profiles.Kilograms(1 + c.Off.MassFrac)
		t.Off.MassFrac = 0
	}
	if k.GasShare {
		m.Bed.GasShare += profiles.Share(c.Off.GasShareAdd + k.GasShareBy)
		m.Bed.GasShareSd = calibratedSd
		t.Off.GasShareAdd = -k.GasShareBy
	}
	if k.Moisture {
		t.Size.Charge.Moisture = profiles.Share(usualMoisture + c.Off.MoistureWBAdd + k.MoistureBy)
	}
	return &t
}

// calibratedSd is how surely a machine file knows a gas share that was calibrated.
const calibratedSd = 0.005

// usualMoisture is what recipes take that tell none, wet basis.
const usualMoisture = 0.11

// batch is a batch under way.
type batch struct {
	cell    *Cell
	field   field
	core    *control.Controller
	perfect *perfect // leads the air in the controller's place; nil if not
	rec     record.Scan
	img     point.Image
	cmds    []control.Command
	nowS    float64
	trace   trace
	trip    string             // first cause; empty = none
	each    func(*record.Scan) // told of every scan; may be nil
}

// roast plays the cell's batch from a warm machine to the planned drop.
func roast(c *Cell, withPerfect bool, each func(*record.Scan)) (*trace, error) {
	c = c.told()
	m := c.Size.Machine
	told := registers.ParamsFor(m)
	params := c.Off.of(told)
	machine, err := plant.New(params, c.Seed)
	if err != nil {
		return nil, err
	}
	core, err := control.New(m, control.Restored{})
	if err != nil {
		return nil, err
	}
	b := &batch{cell: c, core: core, each: each}
	b.field = field{m: m, machine: machine, wiring: registers.NewWiring(m), rng: rand.New(rand.NewPCG(c.Seed, 0x61737365)), noiseC: told.NoiseC, bumpSd: c.Off.BumpC, flow: 1 + c.Off.FlowFrac}
	if c.Off.NoiseC > 0 {
		b.field.noiseC = c.Off.NoiseC
	}
	if withPerfect {
		if b.perfect, err = newPerfect(c, &params); err != nil {
			return nil, err
		}
	}
	if err := b.start(&params); err != nil {
		return nil, fmt.Errorf("%s %s, curve %s: %w", c.Size.Name, c.Name, c.Curve.Name, err)
	}
	green := float64(c.Size.Charge.Green) * (1 + c.Off.MassFrac)
	if err := machine.Charge(green, params.MoistureWB); err != nil {
		return nil, err
	}
	b.say(record.Charged) // what a plunge looks like to the controller is not judged here
	for b.rec.Batch.SinceS < c.Curve.DropS {
		if c.Crack > 0 && b.rec.Batch.FirstCrackS == 0 && b.field.machine.Truth().BeanC >= c.Crack {
			b.say(record.FirstCrack)
		}
		if err := b.scan(); err != nil {
			return nil, fmt.Errorf("%s %s, curve %s: %w", c.Size.Name, c.Name, c.Curve.Name, err)
		}
		b.trace.add(b)
		if b.rec.State != "roasting" {
			b.trace.brokenOffBy = cmp.Or(b.trip, b.rec.State)
			break
		}
	}
	return &b.trace, b.drop()
}

// start brings the machine where a preheat would have, and waits until the
// controller calls it ready.
func (b *batch) start(p *plant.Params) error {
	s := &b.cell.Size
	if err := b.scan(); err != nil {
		return err
	}
	skin, inlet := float64(s.Charge.Skin)+b.cell.Off.SkinAtChargeK, float64(s.Charge.Air)
	loss := p.SkinRoomWPerK*(skin-p.AmbientC) - p.GasSkinWPerK*(inlet-skin)
	b.field.machine.WarmStart(plant.Warm{SkinC: skin, InletC: inlet, ExhaustC: skin, RadiantW: max(0, loss), Running: true})
	r := s.recipe(b.cell.Curve)
	r.Charge.MoistureKnown = b.cell.Told != nil && b.cell.Told.Moisture
	b.cmds = append(b.cmds, control.Command{Command: record.Command{Kind: record.LoadRecipe, Local: true}, Loaded: r, Lessons: b.cell.Lessons})
	b.say(record.StartWarming)
	for b.rec.State != "ready" || b.rec.InS < settleS {
		if err := b.scan(); err != nil {
			return err
		}
		if b.nowS > startMaxS {
			return fmt.Errorf("not ready within %.0f s: %s", startMaxS, b.rec.Next)
		}
	}
	return nil
}

// drop lets the beans out, unless the batch was broken off: a trip shows in the
// state of the scan after it.
func (b *batch) drop() error {
	if b.rec.State != "roasting" || b.trip != "" {
		return nil
	}
	b.field.machine.Drop()
	b.say(record.DropNow)
	if err := b.scan(); err != nil {
		return err
	}
	b.say(record.Dropped)
	return b.scan()
}

func (b *batch) hasDoor() bool { return b.cell.Size.Machine.HasIn[point.DischargeDoorOpen] }

func (b *batch) say(k record.Kind) {
	b.cmds = append(b.cmds, control.Command{Command: record.Command{Kind: k, Who: "assess", Local: true}})
}

// scan lets one period pass at the machine, then runs one scan.
func (b *batch) scan() error {
	period := float64(b.cell.Size.Machine.Scan.PeriodS)
	b.nowS += period
	b.rec.N++
	b.field.machine.Step(period)
	b.rec.Timing.PeriodS = period
	b.field.read(&b.img)
	if b.perfect != nil {
		b.perfect.lead(b)
	}
	permit := b.core.Step(b.nowS, &b.img, b.cmds, &b.rec)
	for i := range b.cmds {
		if a := b.cmds[i].Answer; !a.Accepted {
			return fmt.Errorf("%s was refused: %s", b.cmds[i].Kind, a.Reason)
		}
	}
	b.cmds = b.cmds[:0]
	for i := range b.rec.NumEvents {
		if e := &b.rec.Events[i]; e.Kind == record.Trip && b.trip == "" {
			b.trip = e.Name
		}
	}
	b.field.write(&permit)
	if b.each != nil {
		b.each(&b.rec)
	}
	return b.field.err
}

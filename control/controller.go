package control

import (
	"fmt"
	"math"

	"drumwright/control/batch"
	"drumwright/control/beanloop"
	"drumwright/control/drum"
	"drumwright/control/heat"
	"drumwright/control/learn"
	"drumwright/control/observe"
	"drumwright/control/pid"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

// Command is a person's request with what the caller has fetched for it, and
// the answer that Step gives.
type Command struct {
	record.Command
	Loaded   *profiles.Recipe // for load-recipe: checked against the machine
	Forecast record.Forecast  // for load-recipe and learned: what a preflight of the recipe has said, if one was made
	Lessons  *learn.Lessons   // for load-recipe and learned: of the recipe; nil = none. Never changed once handed in
	GreenKg  float64          // for weighed: of the next batch; 0 = as its recipe says
	Answer   record.Answer
}

// Restored is what survives a restart.
type Restored struct {
	Latched   []string // causes that were latched
	Today     string   // date by which exceptions end, such as 2026-08-01; "" = none is in force
	TodayS    float64  // for which that day goes on yet, s of scan time
	LastBatch uint64   // number of the last batch in the journal
	OpenBatch bool     // a batch was cut off, or its beans were never seen to leave the drum
	Lost      bool     // what survived cannot be read: a named person must look
}

// Controller is the control core of one machine.
type Controller struct {
	m    *profiles.Machine
	gate *safety.Gate

	state  batch.State
	enterS float64 // scan time at which the state was entered
	nowS   float64
	facts  batch.Facts
	wish   safety.Wishes
	begun  bool
	img    point.Image // the inputs of this scan; the gate looks at them until the next

	recipe *profiles.Recipe
	nextKg float64 // green mass of the next batch, as it was weighed; 0 = as the recipe says
	curve  *beanloop.Curve
	follow *drum.Follower
	drive  drum.Drive

	filter                 observe.Filter
	lead                   observe.InletLead
	loop                   beanloop.Loop
	loopParams             beanloop.Params
	estimate               observe.Estimate
	observing              bool
	closed                 bool           // the bean loop is closed
	lessons                *learn.Lessons // of the loaded recipe; nil = none
	dynamics               learn.Dynamics
	guard                  learn.Guard
	crackWatch             learn.CrackWatch
	crackDueS, crackDueSdS float64 // since charge; 0 = not foreseen
	limited                bool    // the bean loop was at a limit of the inlet air in the last scan
	fromCold               bool    // no batch yet since the machine was cold
	inletC                 float64
	beanOut                beanloop.Output // of the last scan in which the loop was closed
	reach                  reach

	air  *heat.AirLoop
	base *heat.BaseLoop
	hand [2]handOutput // air, base
	cut  [2]*pid.Proportioner
	set  setPoints

	charge     chargeWatch
	slowCharge chargeWatch
	unsaid     unsaid
	roast      roast
	warmS      float64 // time within the band
	readyS     float64 // time ready without a charge
	warmingS   float64 // time on the way to ready
	nearing    [2]nearing
	gateSpent  bool    // the gate is open for a charge that did not come
	trayHot    bool    // beans lie in the tray and are not cool yet
	trayS      float64 // for so long
	coolS      float64 // time below the run-down limit
	doorS      float64 // for which the discharge door has been open
	startS     float64 // time of the start warning so far
	beatS      float64
	beat       float64
	lastBatch  uint64
	buttonDown bool
	fireCalled bool // in this scan
	offer      offer
	permit     safety.Permit
	told       told
	restart    restart
	bar        Bar
	unheard    [point.NumOutputs]bool // see Unacknowledged
	trial      trial
	lastDuty   [2]float64      // of the loops, as they gave it in the last scan
	forecast   record.Forecast // of the recipe that was loaded last, with what is learned of it
	turn       turn
}

// handOutput is a loop in manual.
type handOutput struct {
	on   bool
	duty float64
}

const (
	airIdx  = 0
	baseIdx = 1
)

// New makes the controller of a machine, in the state that suits what survived
// a restart: tripped if a latch did or a batch was cut off, cold otherwise; a
// machine that turns out to be hot trips in the first scan. Heat is never on, and
// a batch never goes on.
func New(m *profiles.Machine, r Restored) (*Controller, error) {
	c := &Controller{m: m, gate: safety.NewGate(m, r.latches(), safety.Today(r.Today, r.TodayS)), lastBatch: r.LastBatch, restart: restartOf(&r)}
	c.roast.beansIn = r.OpenBatch
	h := float64(m.Scan.PeriodS)
	var err error
	if c.drive, err = drum.NewDrive(1000*float64(m.Drum.RadiusM), m.SkinMMPerSPerHz()); err != nil {
		return nil, fmt.Errorf("drum of machine %s: %w", m.About.Name, err)
	}
	if c.air, err = heat.NewAirLoop(airParams(m)); err != nil {
		return nil, fmt.Errorf("air loop of machine %s: %w", m.About.Name, err)
	}
	if c.base, err = heat.NewBaseLoop(baseParams(m)); err != nil {
		return nil, fmt.Errorf("base loop of machine %s: %w", m.About.Name, err)
	}
	for i, o := range [...]point.Output{point.AirHeaterPower, point.RadiantPower} {
		if cyc := m.Cycle[o]; cyc.PeriodS > 0 {
			if c.cut[i], err = pid.NewProportioner(float64(cyc.PeriodS), float64(cyc.MinOnS), float64(cyc.MinOnS), h); err != nil {
				return nil, fmt.Errorf("output %s of machine %s: %w", o, m.About.Name, err)
			}
		}
	}
	c.lead = observe.InletLead{TauS: float64(m.Heaters.Air.ProbeLagS), StepS: h}
	c.charge, c.slowCharge = newChargeWatch(float64(m.Batch.PlungeK), plungeSpanS, h), newChargeWatch(slowPlunge*float64(m.Batch.PlungeK), slowSpanS, h)
	if c.gate.Tripped() {
		c.state = batch.Tripped
	}
	return c, nil
}

// Step decides one scan. It answers the commands in place, fills the record and
// returns the permit. The order: see, estimate, listen, move the sequence, wish,
// judge.
func (c *Controller) Step(scanS float64, img *point.Image, cmds []Command, rec *record.Scan) safety.Permit {
	dt := 0.0
	if c.begun {
		dt = scanS - c.nowS
	}
	c.begun, c.nowS = true, scanS
	rec.NumEvents = 0
	rec.ScanS = scanS
	rec.Image, c.img = *img, *img
	rec.Drum, rec.Bean = record.Drum{}, record.Bean{}
	if c.state == batch.Cold {
		c.fromCold = true
	}
	img = &c.img
	if c.roast.ended {
		c.roast = roast{beansIn: c.roast.beansIn}
	}

	c.see(img, dt)
	c.seeRestart(img, rec)
	c.observe(img, dt)
	c.listen(img, cmds, rec)
	c.move(rec)
	c.guardTrial(img, rec)
	c.guardTurn(img, rec)
	c.wishAll(img, dt, rec)
	c.permit = c.gate.Judge(c.context(scanS), img, &c.wish, rec)
	c.applied(rec)
	c.foreseeReady(img, dt, rec)
	c.report(img, rec)
	return c.permit
}

// context is what the gate must know of the batch.
func (c *Controller) context(scanS float64) safety.Context {
	x := safety.Context{ScanS: scanS, PeriodS: float64(c.m.Scan.PeriodS), BeansIn: c.roast.beansIn || c.state.BeansIn(), SinceChargeS: c.inBedS(), Barred: c.bar.Warm, Computer: c.bar.Computer, Unacknowledged: c.unheard}
	if r := &c.roast; r.running && r.dropS == 0 && r.recipe != nil {
		x.RoastS, x.LatestS, x.GreenKg = c.sinceCharge(), float64(r.recipe.Drop.LatestS), r.greenKg
		if d := c.dropAtC(); d > 0 {
			x.DropC = d
		}
	}
	if c.trayHot {
		x.TrayS = c.trayS
	}
	x.FireCalled, c.fireCalled = c.fireCalled, false
	return x
}

// Tripped reports whether a trip stands.
func (c *Controller) Tripped() bool { return c.gate.Tripped() }

// Latched lists the latched causes, for storage.
func (c *Controller) Latched() []string { return c.gate.Latched() }

// State is the state of the sequence.
func (c *Controller) State() batch.State { return c.state }

func (c *Controller) sinceCharge() float64 {
	if !c.roast.running {
		return 0
	}
	return c.nowS - c.roast.chargeAtS
}

// inBedS is for how long the bean probe has been in beans. Bare again at the
// drop it may rise faster than in beans.
func (c *Controller) inBedS() float64 {
	if c.roast.dropS > 0 || c.state == batch.Discharging {
		return 0
	}
	return c.sinceCharge()
}

func usable(img *point.Image, i point.Input) float64 {
	if x := img.In[i]; x.Usable() {
		return x.V
	}
	return math.NaN()
}

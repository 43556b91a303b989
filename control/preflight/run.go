package preflight

import (
	"fmt"
	"math"

	"drumwright/control"
	"drumwright/control/learn"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

const (
	// periodS is the least scan period of a preflight. The loops are tuned for
	// their period, so a slower scan costs a little of how closely they follow,
	// and five times less computing.
	periodS   = 0.5
	settleS   = 10.0  // ready before the charge
	startMaxS = 900.0 // until ready

	// crackHeardS is how surely a person hears first crack, and rateLeast the least
	// rate of rise at which a temperature makes a time (judgement).
	crackHeardS = 1.0
	rateLeast   = 1.0 / 60
)

// flight is a preflight under way.
type flight struct {
	m      *profiles.Machine
	recipe *profiles.Recipe
	model  *model
	core   *control.Controller
	img    point.Image
	rec    record.Scan
	cmds   []control.Command
	nowS   float64
	trip   *record.Event
	each   func(*record.Scan)
	res    *Result
	watch  watch
	off    deviation
	low    Moment // of the probe until the turning point is told

	lessons         *learn.Lessons
	crackC, crackSd float64 // where the beans are expected to crack
}

// Run flies a recipe on a machine, from warm to drop, with what earlier batches
// have taught (nil = nothing). each, if any, is told of every scan from charge to
// drop. The error is that of a recipe that does not fit the machine at all.
func Run(machine *profiles.Machine, r *profiles.Recipe, l *learn.Lessons, each func(*record.Scan)) (*Result, error) {
	m := seenBy(machine)
	core, err := control.New(m, control.Restored{})
	if err != nil {
		return nil, err
	}
	f := &flight{m: m, recipe: r, model: newModel(m, control.ModelOf(m, r, l)), core: core, each: each, lessons: onModel(l),
		res: &Result{Machine: machine.About.Name, Recipe: r.Name, RecipeHash: r.Hash, MachineHash: machine.Hash, Curve: len(r.Curve) > 0}}
	f.hear(l)
	if err := f.start(); err != nil {
		return nil, err
	}
	if f.rec.State == "ready" {
		f.roast()
	}
	f.judge()
	return f.res, nil
}

// onModel is what of the lessons holds on the model: it is what they say of coffee
// and probe by itself, but makes none of the errors that the learned rate and the
// lead of the skin make up for on the machine.
func onModel(l *learn.Lessons) *learn.Lessons {
	if l == nil {
		return nil
	}
	own := *l
	own.Path.RateKPerS, own.Path.BeforeKPerS, own.Path.SkinLeadK = nil, nil, [2]float64{}
	return &own
}

// hear says where the coffee is expected to crack.
func (f *flight) hear(l *learn.Lessons) {
	coffee := learn.Coffee{}
	if l != nil {
		coffee = l.Coffee
	}
	f.crackC, f.crackSd = coffee.CrackAt()
	f.res.CrackBeanC, f.res.CrackBeanSdC, f.res.Heard, f.res.Weighed = f.crackC, f.crackSd, len(coffee.CrackC), coffee.Weighed
}

// seenBy is the machine with the points that the model can show, and a scan that
// suits it.
func seenBy(machine *profiles.Machine) *profiles.Machine {
	m := *machine
	m.HasIn = [point.NumInputs]bool{}
	for _, i := range seen {
		m.HasIn[i] = machine.HasIn[i]
	}
	m.HasOut[point.Heartbeat] = false
	m.Cycle = [point.NumOutputs]profiles.TimeProportion{}
	m.Exceptions = nil
	m.Scan.PeriodS = max(machine.Scan.PeriodS, periodS)
	m.Limits.ScanLateS = max(machine.Limits.ScanLateS, 3*m.Scan.PeriodS)
	return &m
}

func (f *flight) say(c control.Command) {
	c.Who, c.Local = "preflight", true
	f.cmds = append(f.cmds, c)
}

// scan lets one period pass at the model, then runs one scan.
func (f *flight) scan() error {
	period := float64(f.m.Scan.PeriodS)
	f.nowS += period
	f.rec.N++
	f.rec.Timing.PeriodS = period
	f.model.show(&f.img)
	permit := f.core.Step(f.nowS, &f.img, f.cmds, &f.rec)
	for i := range f.cmds {
		if a := f.cmds[i].Answer; !a.Accepted {
			return fmt.Errorf("preflight of %s on %s: %s is refused: %s", f.recipe.Name, f.m.About.Name, f.cmds[i].Kind, a.Reason)
		}
	}
	f.cmds = f.cmds[:0]
	for i := range f.rec.NumEvents {
		if e := f.rec.Events[i]; e.Kind == record.Trip && f.trip == nil {
			f.trip = &e
		}
	}
	f.model.advance(period, &permit)
	return nil
}

// start brings the machine where a preheat would have, and waits until the
// controller calls it ready.
func (f *flight) start() error {
	if err := f.scan(); err != nil { // a cold machine, so that nothing is hot at the start
		return err
	}
	f.model.warm(&f.recipe.Charge)
	f.say(control.Command{Command: record.Command{Kind: record.LoadRecipe, Local: true}, Loaded: f.recipe, Lessons: f.lessons})
	f.say(control.Command{Command: record.Command{Kind: record.StartWarming}})
	for f.rec.State != "ready" || f.rec.InS < settleS {
		if err := f.scan(); err != nil {
			return err
		}
		if f.trip != nil || f.nowS > startMaxS {
			return nil
		}
	}
	return nil
}

// roast plays the batch to the drop, or to the trip that ends it.
func (f *flight) roast() {
	f.model.charge()
	f.model.airJ, f.model.radiant = 0, 0
	f.say(control.Command{Command: record.Command{Kind: record.Charged, Local: true}})
	cracked := false
	for {
		before := f.rec
		energy := [2]float64{f.model.airJ, f.model.radiant}
		if f.scan() != nil { // the commands below are possible in every roast
			return
		}
		if f.rec.State != "roasting" || f.dropDue() {
			if f.rec.State == "roasting" {
				before, energy = f.rec, [2]float64{f.model.airJ, f.model.radiant}
			}
			f.end(&before, energy)
			return
		}
		f.follow()
		if f.each != nil {
			f.each(&f.rec)
		}
		if !cracked && f.model.beanC >= f.crackC {
			cracked = true
			f.say(control.Command{Command: record.Command{Kind: record.FirstCrack, Local: true}})
		}
	}
}

// dropDue reports whether an operator is called to drop.
func (f *flight) dropDue() bool {
	for i := range f.rec.NumEvents {
		if e := &f.rec.Events[i]; e.Kind == record.Note && e.Name == "drop-due" {
			return true
		}
	}
	return false
}

// follow keeps what one scan in the roast shows.
func (f *flight) follow() {
	s, r := &f.rec, f.res
	t := s.Batch.SinceS
	if len(r.Moments) == 0 {
		r.Moments = append(r.Moments, f.now("charge"))
	}
	if s.Batch.TurnS == 0 && (f.low.Name == "" || s.Image.In[point.Bean].V < f.low.ProbeC) {
		f.low = f.now("low")
	}
	for i := range s.NumEvents {
		if e := &s.Events[i]; e.Kind == record.Milestone {
			switch e.Name {
			case record.MilestoneTurningPoint: // told a little after it was
				f.low.Name = e.Name
				r.Moments = append(r.Moments, f.low)
			case record.MilestoneFirstCrack:
				r.CrackS, r.CrackLoss = s.Batch.FirstCrackS, s.Bean.Loss
				r.CrackSdS = math.Hypot(f.crackSd/math.Max(s.Bean.RateKPerS, rateLeast), crackHeardS)
				r.Moments = append(r.Moments, f.now(e.Name))
			}
		}
	}
	if st := s.Batch.Stage; st > f.watch.stage {
		f.watch.stage = st
		if last := r.Moments[len(r.Moments)-1]; last.AtS < t {
			r.Moments = append(r.Moments, f.now("stage "+f.recipe.Stages[st-1].When.String()))
		}
	}
	r.TurnS, r.TurnC = s.Batch.TurnS, s.Batch.TurnC
	if v := s.Image.In[point.InletAir].V; v > r.PeakInletC {
		r.PeakInletC, r.PeakInletAtS = v, t
	}
	if d := s.Permit[point.AirHeaterPower]; d > r.PeakAirDuty {
		r.PeakAirDuty, r.PeakAirDutyAtS = d, t
	}
	if d := s.Permit[point.RadiantPower]; d > r.PeakBaseDuty {
		r.PeakBaseDuty, r.PeakBaseDutyAtS = d, t
	}
	f.off.add(s)
	f.watch.add(f, s)
}

// end keeps how the roast ended; s is its last scan.
func (f *flight) end(s *record.Scan, energyJ [2]float64) {
	r := f.res
	r.Moments = append(r.Moments, f.now("drop"))
	r.DropS, r.DropC = s.Batch.SinceS, s.Image.In[point.Bean].V
	r.Loss, r.LossSd = f.model.loss(), s.Bean.LossSd
	r.AirKWh, r.BaseKWh = energyJ[0]/3.6e6, energyJ[1]/3.6e6
	r.EnergyKWh = r.AirKWh + r.BaseKWh
	if r.CrackS > 0 {
		r.DevelopmentS = r.DropS - r.CrackS
	}
	f.watch.close()
}

// now is the machine as it is, under a name.
func (f *flight) now(name string) Moment {
	s, x := &f.rec, f.model
	v := s.Drum.SetMMPerS
	return Moment{Name: name, AtS: s.Batch.SinceS, ProbeC: s.Image.In[point.Bean].V, BeanC: x.beanC, Loss: x.loss(),
		InletC: s.Image.In[point.InletAir].V, SkinC: s.Image.In[point.DrumSkin].V, FlowKgPerH: x.flow * 3600,
		DrumMMPerS: v, DrumHz: v / f.m.SkinMMPerSPerHz(), DrumRPM: v * 60 / (2 * math.Pi * 1000 * float64(f.m.Drum.RadiusM))}
}

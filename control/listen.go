package control

import (
	"fmt"
	"slices"

	"drumwright/control/batch"
	"drumwright/control/beanloop"
	"drumwright/control/drum"
	"drumwright/control/learn"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// listen answers the commands of this scan in their order and turns those that
// the state allows into requests. The reset button counts as a local command.
func (c *Controller) listen(img *point.Image, cmds []Command, rec *record.Scan) {
	for i := range cmds {
		cmd := &cmds[i]
		ok, why := c.hear(cmd, img, rec)
		cmd.Answer = record.Answer{Accepted: ok, Reason: why}
		kind := record.Accepted
		if !ok {
			kind = record.Rejected
		}
		text := why
		if cmd.Who != "" {
			text += " (" + cmd.Who + ")"
		}
		rec.Add(record.Event{Kind: kind, Name: string(cmd.Kind), Text: text})
	}
	if c.gate.Tripped() && img.In[point.ResetButton].On() && !c.buttonDown {
		ok, why := c.pressReset(rec)
		if !ok {
			rec.Add(record.Event{Kind: record.Rejected, Name: string(record.ResetTrip), Text: why})
		}
	}
	c.buttonDown = img.In[point.ResetButton].On()
	// A trip that is reset before the sequence has seen it still moves it.
	c.facts.Tripped = c.gate.Tripped() || c.facts.Tripped && c.state != batch.Tripped
}

// asks maps a command to the request it makes.
var asks = map[record.Kind]func(*batch.Facts){
	record.StartWarming: func(f *batch.Facts) { f.AskWarm = true },
	record.Charged:      func(f *batch.Facts) { f.AskCharged = true },
	record.DropNow:      func(f *batch.Facts) { f.AskDrop = true },
	record.Dropped:      func(f *batch.Facts) { f.AskDropped = true },
	record.CoolDone:     func(f *batch.Facts) { f.AskCoolDone = true },
	record.NextBatch:    func(f *batch.Facts) { f.AskNext = true },
	record.Hold:         func(f *batch.Facts) { f.AskHold = true },
	record.Resume:       func(f *batch.Facts) { f.AskResume = true },
	record.Stop:         func(f *batch.Facts) { f.AskStop = true },
}

func (c *Controller) hear(cmd *Command, img *point.Image, rec *record.Scan) (bool, string) {
	if cmd.Kind.LocalOnly() && !cmd.Local {
		return false, string(cmd.Kind) + " is taken at the machine only: at its own panel, over its local socket or by its button"
	}
	if cmd.Kind == record.LoadRecipe && !cmd.Local && (c.heats() || c.state == batch.Held) {
		return false, "while heat is in use a recipe is loaded at the machine only: it may ask for more heat"
	}
	if ok, why, known := c.hearRestart(cmd, rec); known {
		return ok, why
	}
	if c.chargeBarred(cmd.Kind) { // the beans may be in all the same: the sequence takes the heat away
		c.facts.AskCharged = true
	}
	if why := c.notNow(cmd.Kind, img); why != "" && cmd.Kind != record.ResetTrip {
		return false, why
	}
	switch cmd.Kind {
	case record.LoadRecipe:
		ok, why := c.load(cmd.Loaded)
		if ok {
			c.lessons = nil
			c.learn(cmd.Lessons)
			why += c.foresee(&cmd.Forecast, rec)
		}
		return ok, why
	case record.Learned:
		ok, why := c.learn(cmd.Lessons)
		if ok && cmd.Forecast.Made {
			c.forecast = cmd.Forecast
		}
		return ok, why
	case record.Weighed:
		return c.weigh(cmd.GreenKg)
	case record.FirstCrack:
		return c.crack(rec)
	case record.NoCrack:
		return c.noCrack(rec)
	case record.DropAt:
		return c.changeDrop(cmd)
	case record.AcceptLater:
		return c.acceptLater()
	case record.Longer:
		c.roast.longerS, c.roast.dropSoon = longerS, len(dropSoon)
		return true, fmt.Sprintf("the drop is put off by %.0f s", longerS)
	case record.Acknowledge:
		return c.gate.Alarms().Acknowledge(cmd.Cause, cmd.Who, cmd.Local, rec)
	case record.Silence:
		return c.gate.Alarms().Silence(cmd.Who, rec)
	case record.ResetTrip:
		return c.resetTrip(cmd.Who, cmd.Local, rec)
	case record.SetManual, record.SetAutomatic:
		return c.setMode(cmd, rec)
	case record.TryLoop:
		return c.tryLoop(cmd, rec)
	case record.CallFire:
		c.fireCalled = true
		return true, "fire reported: heat and air go off"
	case record.TurnDrum:
		return c.turnDrum(cmd, rec)
	case record.Stop:
		if c.turn.on() {
			c.endTurn("stop was asked", rec)
			return true, "the drum stands"
		}
		if c.facts.AskWarm { // in this scan: whatever came first, stop is heeded
			c.facts.AskWarm = false
			return true, "warming does not begin"
		}
		if c.state == batch.Cold && !cmd.Local {
			return false, "drum and air start at the machine only: at its own panel, over its local socket or by its button"
		}
	}
	ask, known := asks[cmd.Kind]
	if !known {
		return false, fmt.Sprintf("there is no command %q", cmd.Kind)
	}
	ask(&c.facts)
	return true, string(cmd.Kind)
}

// mayEmpty reports whether beans of a batch that was broken off can leave the
// drum now, without the sequence moving.
func (c *Controller) mayEmpty() bool {
	return c.roast.beansIn && (c.state == batch.Cold || c.state == batch.RunDown || c.state == batch.Tripped)
}

// load takes a recipe that has been checked against the machine.
func (c *Controller) load(r *profiles.Recipe) (bool, string) {
	if r == nil {
		return false, "there is no such recipe"
	}
	if err := profiles.Fit(r, c.m); err != nil {
		return false, err.Error()
	}
	schedule := r.Speed
	if len(schedule) == 0 {
		schedule = c.m.Drum.Schedule
	}
	pts := make([]drum.Point, len(schedule))
	for i, s := range schedule {
		pts[i] = drum.Point{LossFrac: float64(s.Loss), SkinMMS: float64(s.Speed)}
	}
	sched, err := drum.NewSchedule(pts)
	if err != nil {
		return false, err.Error()
	}
	k := c.m.SkinMMPerSPerHz()
	follow, err := drum.NewFollower(sched, drum.Limits{MinMMS: k * float64(c.m.Drum.MinHz), MaxMMS: k * float64(c.m.Drum.MaxHz), SlewMMSPerS: c.m.Drum.SlewMMPerS2})
	if err != nil {
		return false, err.Error()
	}
	var curve *beanloop.Curve
	if len(r.Curve) > 0 {
		if curve, err = RecipeCurve(r.Curve); err != nil {
			return false, err.Error()
		}
	}
	if c.recipe == nil || r.Name != c.recipe.Name {
		c.nextKg = 0 // it was weighed for another
	}
	c.recipe, c.follow, c.curve = r, follow, curve
	c.facts.HasRecipe = true
	c.tellCharge()
	return true, "recipe " + r.Name + " loaded"
}

// weigh takes what the next batch weighs: the estimate goes by it, the set points
// do not.
func (c *Controller) weigh(kg float64) (bool, string) {
	least, most := float64(c.m.Bed.MinBatch), float64(c.m.Bed.MaxBatch)
	switch {
	case c.recipe == nil:
		return false, "no recipe is loaded: load one, then say what its batch weighs"
	case c.roast.beansIn:
		return false, "the beans are in: enter what they weighed into the batch"
	case kg != 0 && !(kg >= least && kg <= most):
		return false, fmt.Sprintf("a batch of %.0f g: allowed is %.0f to %.0f g on this machine; weigh again", 1000*kg, 1000*least, 1000*most)
	}
	c.nextKg = kg
	c.tellCharge()
	return true, fmt.Sprintf("the next batch is reckoned with %.0f g of green coffee", 1000*c.greenKg())
}

// greenKg is the green mass of the next batch.
func (c *Controller) greenKg() float64 {
	if c.nextKg > 0 {
		return c.nextKg
	}
	return float64(c.recipe.Charge.Green)
}

func (c *Controller) tellCharge() {
	c.told.charge = fmt.Sprintf("Charge %.0f g of green coffee.", 1000*c.greenKg())
}

// foresee keeps what the preflight of a recipe has said, and says it once if the
// recipe is beyond the machine. It is loaded all the same: the model may be wrong.
func (c *Controller) foresee(f *record.Forecast, rec *record.Scan) string {
	c.forecast = *f
	if !f.Made || f.Reachable {
		return ""
	}
	rec.Add(record.Event{Kind: record.Note, Name: "beyond-reach", Text: "by its preflight the recipe is beyond this machine: " + f.Why, Value: f.WorstC})
	return "; by its preflight it is beyond this machine: " + f.Why
}

// RecipeCurve is the curve of a recipe as the bean loop follows it.
func RecipeCurve(points []profiles.CurvePoint) (*beanloop.Curve, error) {
	bp := make([]beanloop.Point, len(points))
	for i, p := range points {
		bp[i] = beanloop.Point{TimeS: float64(p.AtS), TempC: float64(p.Bean)}
	}
	return beanloop.NewCurve(bp)
}

// learn takes lessons for the loaded recipe. They hold from the next charge on.
func (c *Controller) learn(l *learn.Lessons) (bool, string) {
	if l == nil || c.recipe == nil || l.Recipe != c.recipe.Name {
		return false, "the lessons are not of the loaded recipe"
	}
	c.lessons = l
	return true, "lessons of " + l.Recipe + " taken, from the next charge on"
}

func (c *Controller) crack(rec *record.Scan) (bool, string) {
	c.roast.crackS = c.sinceCharge()
	rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneFirstCrack, Text: "first crack heard", Value: c.roast.crackS})
	return true, "first crack noted"
}

func (c *Controller) noCrack(rec *record.Scan) (bool, string) {
	c.roast.crackS = 0
	rec.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneNoCrack, Text: "first crack was noted by mistake", Value: c.sinceCharge()})
	return true, "first crack taken back"
}

// loopName is the name of each loop in commands.
var loopName = [...]string{airIdx: "air", baseIdx: "base"}

func (c *Controller) setMode(cmd *Command, rec *record.Scan) (bool, string) {
	i := slices.Index(loopName[:], cmd.Loop)
	if i < 0 {
		return false, fmt.Sprintf("loop %q: say air or base", cmd.Loop)
	}
	if cmd.Kind == record.SetAutomatic {
		c.hand[i].on = false
		if i == c.trial.loop {
			c.endTrial("it was ended by command", rec)
		}
		return true, cmd.Loop + " loop automatic"
	}
	if !(cmd.Value >= 0 && cmd.Value <= 1) {
		return false, fmt.Sprintf("manual output %v: allowed is 0 to 1", cmd.Value)
	}
	c.endTrial("a loop was taken by hand", rec)
	c.hand[i] = handOutput{on: true, duty: cmd.Value}
	return true, fmt.Sprintf("%s loop manual at %.0f %%", cmd.Loop, 100*cmd.Value)
}

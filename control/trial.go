package control

import (
	"fmt"
	"math"
	"slices"

	"drumwright/control/batch"
	"drumwright/control/tune"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// trial is an experiment on a loop, and what stays as it is meanwhile.
type trial struct {
	run                       tune.Experiment
	loop                      int
	startS, changedS          float64
	limitK                    float64
	duty                      float64 // of this scan
	inletC, skinC, flowKgPerH float64
	tell                      string
	method                    string
	badS                      float64 // for so long the loop's reading has been missing
}

const (
	// Times of an experiment by loop, s: at rest, longest step, longest of all.
	airRestS, airLegS, airTotalS    = 20.0, 240.0, 900.0
	baseRestS, baseLegS, baseTotalS = 60.0, 480.0, 2400.0
	// trialReserveK before a trip an experiment ends.
	trialReserveK = 15.0
	// trialBlindS is how long an experiment bears a missing reading.
	trialBlindS = 0.5
	// flowThere is how close the air flow is to what was asked before the rest counts.
	flowThere = 0.03
)

// trialLoopInput is the reading that each loop controls.
var trialLoopInput = [...]point.Input{airIdx: point.InletAir, baseIdx: point.DrumSkin}

// noTrialNow says why no experiment can begin, "" if one can.
func (c *Controller) noTrialNow() string {
	switch {
	case c.gate.Tripped():
		return tripStands
	case c.roast.beansIn || c.state == batch.Charging || c.state == batch.Roasting || c.state == batch.Discharging:
		return "Beans are in the drum. An experiment needs it empty."
	case c.state == batch.Held:
		return isHeld
	case c.state != batch.Warming && c.state != batch.Ready:
		return "An experiment needs a warm machine. Start warming first."
	case !c.facts.Warm:
		return "Drum and air are not warm yet. Wait until they are."
	case c.facts.GateOpen || c.facts.DoorOpen:
		return "Shut charge gate and discharge door first."
	case c.hand[airIdx].on || c.hand[baseIdx].on:
		return "A loop is led by hand. Set it to automatic first."
	case c.trial.run.Active():
		return "An experiment is running. End it first."
	}
	return ""
}

// tryLoop begins an experiment.
func (c *Controller) tryLoop(cmd *Command, rec *record.Scan) (bool, string) {
	i := slices.Index(loopName[:], cmd.Loop)
	method, known := tune.MethodNamed(cmd.Method)
	if i < 0 || !known {
		return false, fmt.Sprintf("experiment %q on loop %q: say step or relay, on air or base", cmd.Method, cmd.Loop)
	}
	flow := cmd.FlowKgPerH
	if flow == 0 {
		flow = c.set.flowKgPerH
	}
	if low, high := float64(c.m.Air.MinForHeat), c.m.FlowKgPerS(float64(c.m.Air.MaxHz))*3600; !(flow >= low && flow <= high) {
		return false, fmt.Sprintf("air flow %.1f kg/h: allowed is %.1f to %.1f kg/h on this machine", flow, low, high)
	}
	p := tune.Plan{Method: method, Amplitude: cmd.Value, LimitK: cmd.LimitK, PeriodS: float64(c.m.Scan.PeriodS),
		RestS: airRestS, LegS: airLegS, TotalS: airTotalS, MaxDuty: float64(c.m.Heaters.Air.MaxDuty)}
	if i == baseIdx {
		p.RestS, p.LegS, p.TotalS, p.MaxDuty = baseRestS, baseLegS, baseTotalS, float64(c.m.Heaters.Radiant.MaxDuty)
	}
	t := trial{loop: i, startS: c.nowS, limitK: p.LimitK, inletC: float64(c.recipe.Charge.Air), skinC: float64(c.recipe.Charge.Skin), flowKgPerH: flow,
		method: method.String(), tell: fmt.Sprintf("An experiment on the %s loop is running: do not charge.", cmd.Loop)}
	if err := t.run.Start(p); err != nil {
		return false, err.Error()
	}
	c.trial = t
	return true, fmt.Sprintf("%s experiment on the %s loop: %.1f %% of rated power up and down, ends %.0f K from rest", method, cmd.Loop, 100*p.Amplitude, p.LimitK)
}

// trying reports whether an experiment sets the output of a loop in this scan.
func (c *Controller) trying(i int) bool { return c.trial.loop == i && c.trial.run.Moving() }

// endTrial ends an experiment that runs; the loop is automatic again.
func (c *Controller) endTrial(why string, rec *record.Scan) {
	if c.trial.run.Active() {
		c.trial.run.End(why)
		c.sayTrialEnded(rec)
	}
}

func (c *Controller) sayTrialEnded(rec *record.Scan) {
	v := c.trial.run.View()
	rec.Add(record.Event{Kind: record.Note, Name: "experiment", Text: fmt.Sprintf("the experiment on the %s loop has ended: %s", loopName[c.trial.loop], v.Why)})
}

// guardTrial ends an experiment as soon as what allowed it is gone or anything
// comes near a limit, and moves it on otherwise.
func (c *Controller) guardTrial(img *point.Image, rec *record.Scan) {
	t := &c.trial
	if !t.run.Active() {
		return
	}
	if why := c.trialOver(img); why != "" {
		c.endTrial(why, rec)
		return
	}
	measured := usable(img, trialLoopInput[t.loop])
	if math.IsNaN(measured) {
		if t.badS += float64(c.m.Scan.PeriodS); t.badS > trialBlindS {
			c.endTrial("its reading is missing", rec)
		}
		return
	}
	t.badS = 0
	if !t.run.Moving() && math.Abs(c.set.ledKgPerH-t.flowKgPerH) > flowThere*t.flowKgPerH {
		return // the air is still on its way
	}
	was, moved := t.duty, t.run.Moving()
	t.duty = t.run.Step(measured, c.lastDuty[t.loop])
	if t.duty != was || t.run.Moving() != moved {
		t.changedS = c.nowS
	}
	if !t.run.Active() {
		c.sayTrialEnded(rec)
	}
}

// trialOver says why an experiment cannot go on, "" if it can.
func (c *Controller) trialOver(img *point.Image) string {
	l := &c.m.Limits
	switch {
	case c.gate.Tripped():
		return interlockActed
	case img.In[point.ChargeGateOpen].On() || img.In[point.DischargeDoorOpen].On():
		return "charge gate or discharge door was opened"
	case c.state != batch.Warming && c.state != batch.Ready || c.roast.beansIn:
		return "the machine is not empty and warm any more"
	case c.permit.Value(point.HeatEnable) < 0.5:
		return "heat is not permitted"
	case near(img, point.InletAir, l.InletHigh.At) || near(img, point.DrumSkin, l.SkinHigh.At) || near(img, point.Exhaust, l.ExhaustHigh.At) ||
		near(img, point.HeaterElement, l.ElementHigh.At) || near(img, point.HighLimit, l.LimitHigh.At) || near(img, point.Bean, l.BeanHeatOff):
		return "a temperature came near its limit"
	}
	return ""
}

const interlockActed = "an interlock has tripped"

// withheld is why the gate did not let the experiment's heat through.
func (c *Controller) withheld() string {
	if c.gate.Tripped() {
		return interlockActed
	}
	return "its heat was withheld"
}

// near reports whether a reading has come close to what trips at or above limit.
func near(img *point.Image, i point.Input, limit profiles.Celsius) bool {
	x := img.In[i]
	return x.Usable() && x.V >= float64(limit)-trialReserveK
}

// reportTrial shows the experiment.
func (c *Controller) reportTrial(rec *record.Scan) {
	t := &c.trial
	if t.method == "" {
		rec.Trial = record.Trial{}
		return
	}
	v := t.run.View()
	rec.Trial = record.Trial{Loop: loopName[t.loop], Method: t.method, Phase: v.Phase.String(), Why: v.Why, Done: v.Done, StartS: t.startS,
		ChangedS: t.changedS, BaseC: v.BaseC, NoiseK: v.NoiseK, BaseDuty: v.BaseDuty, Duty: v.Duty, StepDuty: v.UpShare,
		LimitK: t.limitK, HystK: v.HysteresisK, Cycles: v.Cycles, PeriodS: v.Cycle.PeriodS, AmplitudeK: v.Cycle.AmplitudeK}
}

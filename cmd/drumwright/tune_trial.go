package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/tune"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// everyS is the least time between two samples of an experiment.
const everyS = 0.4

// conductor leads experiments one after the other by what the scans show: it
// gives the commands, tells of the progress and gathers the data.
type conductor struct {
	m    *profiles.Machine
	jobs []trialJob
	out  io.Writer

	at      int // of jobs
	waiting bool
	askedS  float64
	readyS  float64 // end of the last experiment
	began   bool
	phase   string
	startS  float64
	data    tune.Data
	trial   record.TrialView
	done    []tuned
}

// step looks at a scan and gives the command for the next, if any. It reports
// whether all is done.
func (c *conductor) step(v *record.View) (cmd *record.Command, over bool, err error) {
	if c.at == len(c.jobs) {
		return nil, true, nil
	}
	j := &c.jobs[c.at]
	nowS := float64(v.ScanS)
	if !c.began {
		if v.Trial != nil && v.Trial.Phase != "over" && c.waiting {
			c.began, c.waiting, c.startS, c.phase = true, false, nowS, ""
			c.data = tune.Data{}
		} else if c.waiting && nowS > c.askedS+60 {
			return nil, false, errors.New("the daemon does not begin the experiment")
		} else if !c.waiting {
			if why := refusedNow(v); why != "" && (c.at == 0 || nowS > c.readyS+warmAgainS) {
				return nil, false, errors.New(why)
			} else if why != "" {
				return nil, false, nil // the last experiment has left it a little off
			}
			c.waiting, c.askedS = true, nowS
			return &j.Command, false, nil
		}
		if !c.began {
			return nil, false, nil
		}
	}
	t := v.Trial
	if t == nil {
		return nil, false, errors.New("the experiment is gone: has the daemon been started anew?")
	}
	c.tell(t, nowS, j)
	if t.Phase == "over" {
		if !t.Done {
			return nil, false, fmt.Errorf("the experiment has ended: %s; the loop is automatic again", t.Why)
		}
		c.trial = *t
		c.done = append(c.done, c.judge(j, nowS))
		c.at, c.began, c.readyS = c.at+1, false, nowS
		return nil, c.at == len(c.jobs), nil
	}
	if t.StepDuty.Known() {
		c.gather(v, t)
	}
	return nil, false, nil
}

// warmAgainS is how long the machine may take to be warm for the next experiment.
const warmAgainS = 600

// refusedNow is why the daemon would not begin an experiment.
func refusedNow(v *record.View) string {
	for _, o := range v.Commands {
		if o.Kind == record.TryLoop {
			return o.Refused
		}
	}
	return ""
}

// gather adds what a scan shows once the duty moves.
func (c *conductor) gather(v *record.View, t *record.TrialView) {
	loop, rated := v.Air, ratedW(c.m, t.Loop)
	if t.Loop == "base" {
		loop = v.Base
	}
	if p, ok := v.Points[point.MainsVoltage.String()]; ok && p.Value.Known() && p.Value > 0 {
		ratio := float64(p.Value) / float64(c.m.Heaters.RatedV)
		rated *= ratio * ratio
	}
	d := &c.data
	if len(d.Inputs) == 0 {
		d.Rest = float64(t.BaseDuty) * rated
	}
	if n := len(d.Inputs); n == 0 || d.Inputs[n-1].AtS != float64(t.ChangedS) {
		d.Inputs = append(d.Inputs, tune.Level{AtS: float64(t.ChangedS), Value: float64(t.Duty) * rated})
	}
	if n := len(d.Outputs); loop.MeasuredC.Known() && (n == 0 || float64(v.ScanS) >= d.Outputs[n-1].AtS+everyS-1e-9) {
		d.Outputs = append(d.Outputs, tune.Sample{AtS: float64(v.ScanS), Value: float64(loop.MeasuredC)})
	}
}

func (c *conductor) tell(t *record.TrialView, nowS float64, j *trialJob) {
	if t.Phase == c.phase || t.Method == "relay" && c.phase != "" && c.phase != "rest" && t.Phase != "over" {
		return
	}
	c.phase = t.Phase
	switch {
	case t.Phase == "rest":
		fmt.Fprintf(c.out, "%s loop%s, %s: waiting for rest", t.Loop, atFlow(j.flowKgPerH), t.Method)
	case t.Phase == "up" && t.Method == "relay":
		fmt.Fprintf(c.out, " at %.1f °C and %.1f %%; moving by %.1f %%", float64(t.BaseC), 100*float64(t.BaseDuty), 100*float64(t.StepDuty))
	case t.Phase == "up":
		fmt.Fprintf(c.out, " at %.1f °C and %.1f %%; %.1f %% up", float64(t.BaseC), 100*float64(t.BaseDuty), 100*float64(t.StepDuty))
	case t.Phase == "over":
		fmt.Fprintf(c.out, ", %s after %.0f s\n", t.Why, nowS-c.startS)
	default:
		fmt.Fprintf(c.out, ", %s", t.Phase)
	}
}

func atFlow(kgPerH float64) string {
	if kgPerH == 0 {
		return ""
	}
	return fmt.Sprintf(" at %.1f kg/h", kgPerH)
}

// judge fits and chooses.
func (c *conductor) judge(j *trialJob, nowS float64) tuned {
	t := &c.trial
	how := fmt.Sprintf("%s experiment of %.0f s from %.1f °C, %.0f W up and down from %.0f W, noise %.2f K", t.Method, nowS-c.startS, float64(t.BaseC),
		float64(t.StepDuty)*ratedW(c.m, t.Loop), c.data.Rest, float64(t.NoiseK))
	if t.Method == "relay" {
		u := tune.Cycle{PeriodS: float64(t.PeriodS), AmplitudeK: float64(t.AmplitudeK)}.Describe(float64(t.StepDuty)*ratedW(c.m, t.Loop), float64(t.HystK))
		how += fmt.Sprintf("; swings by ±%.1f K every %.1f s, so it would oscillate at about %.0f W/K", float64(t.AmplitudeK), u.PeriodS, u.Gain)
	}
	return judgeTuning(c.m, t.Loop, j.flowKgPerH, float64(t.BaseC), float64(t.NoiseK), how, c.data)
}

// judgeTuning fits the processes that suit a loop and works out its gains.
func judgeTuning(m *profiles.Machine, loop string, flowKgPerH, baseC, noiseK float64, how string, d tune.Data) tuned {
	r := tuned{FlowKgPerH: flowKgPerH, How: how, NoiseK: noiseK, Best: -1, Chosen: -1}
	models := []tune.Model{tune.FirstOrder, tune.SecondOrder}
	if loop == "base" {
		models = append(models, tune.Integrator)
	}
	var faults []error
	for _, model := range models {
		f, err := tune.FitProcess(d, model)
		if err != nil {
			faults = append(faults, err)
			continue
		}
		r.Fits = append(r.Fits, f)
	}
	r.Best = tune.Best(r.Fits)
	if r.Best < 0 {
		r.Why = errors.Join(faults...).Error()
		return r
	}
	if flowKgPerH == 0 {
		flowKgPerH = float64(m.Air.Nominal)
	}
	l := tune.Loop{PeriodS: float64(m.Scan.PeriodS), RatedW: ratedW(m, loop), NoiseK: noiseK}
	l.InUse, l.FilterN, l.OnlyPID = control.LoopGains(m, loop, flowKgPerH, baseC)
	var err error
	if r.Candidates, r.Chosen, err = tune.Candidates(r.Fits, l); err != nil {
		r.Why = err.Error()
	} else if r.Chosen < 0 {
		r.Why = "every rule has an objection"
	}
	return r
}

// tuneAtMachine lets the daemon run the experiments.
func tuneAtMachine(ctx context.Context, m *profiles.Machine, jobs []trialJob, o *tuneOptions, out io.Writer) ([]tuned, error) {
	if o.who == "" {
		return nil, exitError{codeInput, errors.New("--who is missing: an experiment is made by a named person")}
	}
	d, err := dialDaemon(o.address)
	if err != nil {
		return nil, err
	}
	c := &conductor{m: m, jobs: jobs, out: out}
	end := func(err error) ([]tuned, error) {
		if c.began || c.waiting {
			fmt.Fprintln(out)
			again, cancel := context.WithTimeout(context.WithoutCancel(ctx), daemonTime)
			defer cancel()
			if stop := d.order(again, record.Command{Kind: record.SetAutomatic, Loop: o.loop}, o.who); stop != nil {
				err = errors.Join(err, fmt.Errorf("the experiment could not be ended from here: %w; it ends by itself at its limits", stop))
			}
		}
		return nil, err
	}
	tick := time.NewTicker(o.pollEvery)
	defer tick.Stop()
	for {
		var v record.View
		if err := d.get(ctx, "/api/v1/state", &v); ctx.Err() != nil {
			return end(errStopped)
		} else if err != nil {
			return end(err)
		}
		cmd, over, err := c.step(&v)
		if err != nil {
			return end(err)
		}
		if over {
			return c.done, nil
		}
		if cmd != nil {
			if err := d.order(ctx, *cmd, o.who); err != nil {
				return end(err)
			}
		}
		select {
		case <-ctx.Done():
			return end(errStopped)
		case <-tick.C:
		}
	}
}

var errStopped = errors.New("stopped: the experiment is ended and the loop is automatic again")

// longestTuneS of simulated time is more than any experiments take.
const longestTuneS = 6 * 3600

// tuneSimulated plays the experiments on the simulated machine in lockstep.
func tuneSimulated(ctx context.Context, m *profiles.Machine, jobs []trialJob, o *tuneOptions, out io.Writer) ([]tuned, error) {
	r, err := warmingRecipe(o.recipe, m)
	if err != nil {
		return nil, err
	}
	machine := *m
	machine.BusList = slices.Clone(m.BusList)
	c := &conductor{m: m, jobs: jobs, out: out}
	var over bool
	var failed error
	settledS := math.Inf(1)
	plan := rehearsal.Plan{Machine: &machine, Recipe: r, Seed: o.seed, Batches: 1, Habits: rehearsal.Habits{NeverCharge: true}, Warm: true, MaxS: longestTuneS,
		Beside: func(now *rehearsal.Moment) bool {
			if now.Last.State == "ready" && math.IsInf(settledS, 1) {
				settledS = now.Last.ScanS + 60
			}
			if now.Last.ScanS < settledS {
				return false
			}
			v := record.NewView(now.Last)
			var cmd *record.Command
			if cmd, over, failed = c.step(&v); cmd != nil {
				now.Say(*cmd)
			}
			return over || failed != nil
		}}
	if _, err := rehearsal.Run(ctx, plan); err != nil {
		return nil, err
	}
	if failed == nil && !over {
		failed = errors.New("the simulated machine did not get to the end of the experiments")
	}
	return c.done, failed
}

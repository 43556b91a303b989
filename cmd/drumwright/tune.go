package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/control/bean"
	"drumwright/control/tune"
	"drumwright/io/record"
	"drumwright/profiles"
)

type tuneOptions struct {
	loop      string
	method    string
	flows     string
	amplitude float64 // percent of rated power; 0 = by the machine's figures
	limitK    float64
	address   string
	who       string
	simulate  bool
	seed      uint64
	recipe    string
	batch     uint64
	journal   string
	csv       string
	accept    bool
	asJSON    bool

	pollEvery time.Duration
}

func tuneCommand() *cobra.Command {
	o := tuneOptions{pollEvery: 200 * time.Millisecond}
	c := &cobra.Command{
		Use:   "tune MACHINE",
		Short: "Find gains for a heat loop by an experiment, show what they would do, keep them on your word",
		Long: `tune moves the power of one heater a little up and down on the warm and empty
machine, fits a process to what the temperature makes of it, and shows gains by
published rules with their margins and the response to expect. Nothing is
written before you say so; what stood there before is kept.

The daemon runs the experiment, behind all interlocks: it ends at once, and the
loop is automatic again, when an interlock acts, a temperature leaves the limit
of the experiment or comes near a trip, gate or door opens, or you press
Ctrl-C. Warm the machine first and wait until it is ready; put no beans in.

  step    power up, down and back: tells most; about five minutes for each air
          flow, up to half an hour for the base loop
  relay   power up and down by the reading, in a small oscillation: a check

The air loop is tuned at several air flows (--flow), because a heater answers
the slower the less air passes it. With --batch or --csv nothing runs: gains are
made from a batch in the journal (air loop only), or from a file with the columns
time_s, power_w and temperature_c, at rest in its first line. With --simulate
the experiment is played on the simulated machine and nothing can be kept.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runTune(cmd.Context(), args[0], &o, cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
	f := c.Flags()
	f.StringVar(&o.loop, "loop", "air", "air or base")
	f.StringVar(&o.method, "method", "step", "step or relay")
	f.StringVar(&o.flows, "flow", "", "air flows in kg/h, separated by commas; default 75, 100 and 115 % of nominal for the air loop, as it is for the base loop")
	f.Float64Var(&o.amplitude, "amplitude", 0, "change of power up and down, % of rated; 0 = for about 12 K of inlet air, 12 % for the base loop")
	f.Float64Var(&o.limitK, "limit", 0, "departure from rest that ends the experiment, K; 0 = 40 K for the air loop, 20 K for the base loop")
	f.StringVar(&o.address, "address", "127.0.0.1:8420", "of the daemon: HOST:PORT, or the path of its socket")
	f.StringVar(&o.who, "who", "", "your name, kept with the experiment")
	f.BoolVar(&o.simulate, "simulate", false, "play it on the simulated machine")
	f.Uint64Var(&o.seed, "seed", 1, "with --simulate: seed of the noise")
	f.StringVar(&o.recipe, "recipe", "", "with --simulate: recipe to warm with; default a shipped one that fits")
	f.Uint64Var(&o.batch, "batch", 0, "make gains from this batch of the journal instead of an experiment")
	f.StringVar(&o.journal, "journal", "", "with --batch: the journal; default that of the machine file")
	f.StringVar(&o.csv, "csv", "", "make gains from this file instead of an experiment")
	f.BoolVar(&o.accept, "accept", false, "keep the recommended gains without asking")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object; keeps nothing unless --accept is given")
	return c
}

// trialJob is one experiment to be made.
type trialJob struct {
	record.Command
	flowKgPerH float64 // to be shown; 0 = as it is
}

// tuned is what came of one experiment.
type tuned struct {
	FlowKgPerH float64
	How        string // in a few words
	NoiseK     float64
	Fits       []tune.Fit
	Best       int
	Candidates []tune.Candidate
	Chosen     int // -1 = none
	Why        string
}

func runTune(ctx context.Context, name string, o *tuneOptions, stdin io.Reader, stdout io.Writer) error {
	m, err := machineFrom(name)
	if err != nil {
		return err
	}
	jobs, err := o.jobs(m)
	if err != nil {
		return exitError{codeInput, err}
	}
	var list []tuned
	say := stdout
	if o.asJSON {
		say = io.Discard
	}
	switch {
	case o.batch > 0 || o.csv != "":
		list, err = tuneOffline(ctx, m, o)
	case o.simulate:
		list, err = tuneSimulated(ctx, m, jobs, o, say)
	default:
		list, err = tuneAtMachine(ctx, m, jobs, o, say)
	}
	if err != nil {
		return err
	}
	chooseRule(list)
	edits := gainEdits(m, o.loop, list)
	if o.asJSON {
		err = printTuneJSON(stdout, m, o, list, edits)
	} else {
		err = printTune(stdout, m, o, list, edits)
	}
	switch {
	case err != nil:
		return err
	case len(edits) == 0 && keepsAll(list):
		if !o.asJSON {
			fmt.Fprintln(stdout, "\nNothing is better than the gains in use: keep them.")
		}
		return nil
	case len(edits) == 0:
		return exitError{codeFailed, errors.New("no gains are recommended; the reasons stand above")}
	case o.simulate:
		if !o.asJSON {
			fmt.Fprintln(stdout, "These gains suit the simulated machine and are not kept.")
		}
		return nil
	case o.asJSON && !o.accept:
		return nil
	}
	p := newTerminal(stdin, stdout)
	return keepEdits(ctx, m, edits, o.accept, &p)
}

// jobs are the experiments that the options ask for.
func (o *tuneOptions) jobs(m *profiles.Machine) ([]trialJob, error) {
	if o.loop != "air" && o.loop != "base" {
		return nil, fmt.Errorf("--loop %q: allowed are air and base", o.loop)
	}
	if _, ok := tune.MethodNamed(o.method); !ok {
		return nil, fmt.Errorf("--method %q: allowed are step and relay", o.method)
	}
	if o.batch > 0 && o.csv != "" || o.simulate && (o.batch > 0 || o.csv != "") {
		return nil, errors.New("--batch, --csv and --simulate: one of them")
	}
	if o.batch > 0 && o.loop != "air" {
		return nil, errors.New("--batch goes with the air loop: what beans and air do to the drum hides what its panels do")
	}
	if o.amplitude != 0 && !(o.amplitude >= 100*tune.LeastAmplitude && o.amplitude <= 100*tune.MostAmplitude) {
		return nil, fmt.Errorf("--amplitude %g: allowed is %.0f to %.0f %% of rated power", o.amplitude, 100*tune.LeastAmplitude, 100*tune.MostAmplitude)
	}
	flows, err := o.flowList(m)
	if err != nil {
		return nil, err
	}
	var jobs []trialJob
	for _, f := range flows {
		j := trialJob{flowKgPerH: f, Command: record.Command{Kind: record.TryLoop, Loop: o.loop, Method: o.method, LimitK: o.limitK, Value: o.amplitude / 100, FlowKgPerH: f, Who: o.who, Local: true}}
		if j.LimitK == 0 {
			if j.LimitK = 40; o.loop == "base" {
				j.LimitK = 20
			}
		}
		if j.Value == 0 {
			if j.Value = 0.12; o.loop == "air" {
				const riseK = 12
				gc := f / 3600 * bean.AirCpJPerKgK(200)
				j.Value = min(max(riseK*gc/float64(m.Heaters.Air.Efficiency)/float64(m.Heaters.Air.PowerW), tune.LeastAmplitude), 0.2)
			}
		}
		jobs = append(jobs, j)
	}
	return jobs, nil
}

func (o *tuneOptions) flowList(m *profiles.Machine) ([]float64, error) {
	high := m.FlowKgPerS(float64(m.Air.MaxHz)) * 3600
	if o.flows == "" {
		if o.loop == "base" {
			return []float64{0}, nil
		}
		var list []float64
		for _, share := range []float64{0.75, 1, 1.15} {
			if f := min(share*float64(m.Air.Nominal), high); f > float64(m.Air.MinForHeat) && !slices.Contains(list, f) {
				list = append(list, f)
			}
		}
		return list, nil
	}
	var list []float64
	for _, text := range strings.Split(o.flows, ",") {
		f, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
		if err != nil || !(f >= float64(m.Air.MinForHeat) && f <= high) {
			return nil, fmt.Errorf("--flow %q: allowed are %.1f to %.1f kg/h on this machine", text, float64(m.Air.MinForHeat), high)
		}
		list = append(list, f)
	}
	slices.Sort(list)
	return slices.Compact(list), nil
}

// ratedW is the full power of a loop's heater.
func ratedW(m *profiles.Machine, loop string) float64 {
	if loop == "base" {
		return float64(m.Heaters.Radiant.PowerW)
	}
	return float64(m.Heaters.Air.PowerW)
}

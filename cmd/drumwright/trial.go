package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/amend"
	"drumwright/control/drum"
	"drumwright/io/record"
	"drumwright/profiles"
)

type trialOptions struct {
	drumOptions
	address, who, beans, out, law, from string
	compare                             []string
	repeats                             int
	resolution                          float64
	guess, simulate, accept             bool
	seed                                uint64
	second                              time.Duration // at the machine
}

func trialCommand() *cobra.Command {
	o := trialOptions{second: time.Second}
	c := &cobra.Command{
		Use:   "trial MACHINE",
		Short: "Find the drum speed of each stage at the glass, cold, and fit the schedule",
		Long: `trial leads a person through a cold trial. The heat is isolated, a clear face or
sight glass is on, and beans of each stage lie ready, at the mass the batch would
then have. For each stage the drum is swept slowly through the speeds about the
expected one, up and down; you press Enter the moment the stream falls just past
the shaft and on the bed, with none carried over the top and no dead heap. The
repeats give mean and spread, a law is fitted, and the schedule is written to a
file with who, when, which beans and all marks, and into the machine file once you
say yes.

It speaks to the daemon that runs the machine, which turns the drum only while the
machine is cold, its contactor open and no trip stands, and stops it when nobody
asks any more. Cold trials are good to about 5 percent.

With --simulate the trial is played on the simulated machine by a made-up person
whose best speeds are known, to show the procedure. With --from FILE the marks of
an earlier trial are fitted anew.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.run(cmd.Context(), args[0], cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
	o.flags(c)
	f := c.Flags()
	f.StringVar(&o.address, "address", "127.0.0.1:8420", "of the daemon: HOST:PORT, or the path of its socket")
	f.StringVar(&o.who, "who", "", "your name, kept with the trial")
	f.StringVar(&o.beans, "beans", "", "which beans, kept with the trial")
	f.StringVar(&o.out, "out", "", "file for the result; refused if it is there already")
	f.StringVar(&o.law, "law", string(drum.ByLoss), "law to fit: loss (exponential in loss) or density (power of the bulk density, needs a jug weight of each stage)")
	f.StringVar(&o.from, "from", "", "fit the marks of this trial file anew instead of making a trial")
	f.StringArrayVar(&o.compare, "compare", nil, "compare with this earlier trial file, may be repeated")
	f.IntVar(&o.repeats, "repeats", 4, "sweeps of each stage, half from below and half from above")
	f.Float64Var(&o.resolution, "resolution", 5, "how closely one mark can be read, mm/s either way")
	f.BoolVar(&o.guess, "guess", false, "sweep about a first guess from other drums instead of the machine file's schedule")
	f.BoolVar(&o.accept, "accept", false, "write the schedule into the machine file without asking")
	f.BoolVar(&o.simulate, "simulate", false, "play the trial on the simulated machine")
	f.Uint64Var(&o.seed, "seed", 1, "with --simulate: seed of noise and person")
	return c
}

func (o *trialOptions) check() error {
	switch {
	case o.who == "" && !o.simulate && o.from == "":
		return errors.New("--who is missing: a trial is made by a named person")
	case o.repeats < 2 || o.repeats > 20 || o.repeats%2 != 0:
		return fmt.Errorf("--repeats is %d, allowed is an even number from 2 to 20: half from below, half from above", o.repeats)
	case !(o.resolution >= 0.1 && o.resolution <= 50):
		return fmt.Errorf("--resolution is %g mm/s, allowed is 0.1 to 50", o.resolution)
	case o.law != string(drum.ByLoss) && o.law != string(drum.ByDensity):
		return fmt.Errorf("--law is %q, allowed are loss and density", o.law)
	case o.simulate && o.from != "":
		return errors.New("--simulate and --from exclude each other")
	}
	if o.out != "" {
		if _, err := os.Stat(o.out); err == nil {
			return fmt.Errorf("--out %s is there already: a trial is not overwritten, choose another name", o.out)
		}
	}
	return nil
}

func (o *trialOptions) run(ctx context.Context, name string, in io.Reader, w io.Writer) error {
	if err := o.check(); err != nil {
		return exitError{codeInput, err}
	}
	m, err := machineFrom(name)
	if err != nil {
		return err
	}
	d, err := drumInputsFrom(name, o.with, o.stages)
	if err != nil {
		return err
	}
	if o.guess {
		for i := range d.stages {
			d.stages[i].SkinMMS = drum.FirstGuess(d.setup.RadiusMM, d.stages[i].LossFrac)
		}
	}
	limits, err := d.setup.SpeedLimits()
	if err != nil {
		return exitError{codeInput, err}
	}
	earlier := map[string]*trialFile{}
	for _, path := range o.compare {
		if earlier[path], err = readTrial(path); err != nil {
			return exitError{codeInput, err}
		}
	}
	p := newTerminal(in, w)
	var file *trialFile
	switch {
	case o.from != "":
		if file, err = readTrial(o.from); err != nil {
			return exitError{codeInput, err}
		}
	case o.simulate:
		file, err = o.simulated(ctx, d, m, limits, w)
	default:
		file, err = o.atMachine(ctx, d, m, limits, p, w)
	}
	if err != nil {
		return err
	}
	fit, err := file.fit(drum.Law(o.law), limits)
	if err != nil {
		return o.keepMarks(file, w, err)
	}
	if o.out != "" {
		if err := file.write(o.out); err != nil {
			return err
		}
	}
	if o.from == "" && !o.simulate {
		if err := keepTrial(m, file); err != nil {
			return fmt.Errorf("the trial is not in the journal, its file is whole: %w", err)
		}
	}
	if err := o.report(w, file, fit, earlier); err != nil || o.simulate || o.asJSON && !o.accept {
		return err
	}
	return keepEdits(ctx, m, []amend.Edit{scheduleEdit(file.Schedule)}, o.accept, &p)
}

// keepMarks saves marks that no law could be fitted to: they took an hour.
func (o *trialOptions) keepMarks(file *trialFile, w io.Writer, why error) error {
	if o.out == "" {
		for _, s := range file.Stages {
			fmt.Fprintf(w, "marks of %s, mm/s: %.1f\n", s.Name, s.MarksMMS)
		}
		return why
	}
	if err := file.write(o.out); err != nil {
		return errors.Join(why, err)
	}
	return fmt.Errorf("%w (the marks are kept in %s)", why, o.out)
}

// plan prints what lies ahead.
func (o *trialOptions) plan(d *drumInputs, limits drum.SpeedRange, w io.Writer) error {
	fmt.Fprintf(w, "Cold trial of %s. Speeds allowed: %.0f mm/s (%s) to %.0f mm/s (%s).\n\n", d.name, limits.Low.SkinMMS, limits.Low.By, limits.High.SkinMMS, limits.High.By)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "stage\tlost %\tload g\texpected mm/s\tsweep mm/s\texpected from")
	for _, s := range d.stages {
		lo, hi := limits.Around(s.SkinMMS.Value)
		fmt.Fprintf(t, "%s\t%.3g\t%.0f\t%s\t%.0f to %.0f\t%s\n", s.Name, 100*s.LossFrac, d.setup.BatchG.Value*(1-s.LossFrac), figureText(s.SkinMMS, 0), lo, hi, s.SkinMMS.Method)
	}
	return t.Flush()
}

// atMachine makes the trial with a person at the machine.
func (o *trialOptions) atMachine(ctx context.Context, d *drumInputs, m *profiles.Machine, limits drum.SpeedRange, p terminal, w io.Writer) (file *trialFile, err error) {
	api, err := dialDaemon(o.address)
	if err != nil {
		return nil, err
	}
	if err := o.plan(d, limits, w); err != nil {
		return nil, err
	}
	if err := o.mayTurn(ctx, api); err != nil {
		return nil, err
	}
	for _, c := range []string{
		"Isolate the heat at its own switch, lock it off, and see the contactor open. Nothing here replaces that.",
		"The machine is cold. A clear face plate or sight glass is on; no finger, sleeve or tool can reach the drum.",
		"Emergency stop within reach. The drum starts after the horn. Empty and load it only while it stands.",
	} {
		p.say("! %s", c)
	}
	if a, err := p.ask(ctx, "Is all of that so? y or n:", "y", "n"); err != nil || a == "n" {
		return nil, firstOf(err, errors.New("the trial has not begun: see to it first"))
	}
	glass := &atGlass{&p, api, o.who, lifelike(m, o.second)}
	file = &trialFile{Trial: o.header(d, m, time.Now())}
	for _, s := range d.stages {
		stage, err := o.stage(ctx, glass, d, s, limits)
		if errors.Is(err, errSkipped) {
			continue
		}
		if len(stage.MarksMMS) > 0 { // also of a stage that was broken off
			file.Stages = append(file.Stages, stage)
		}
		if errors.Is(err, errEnough) && len(file.Stages) >= 2 {
			break
		}
		if err != nil {
			return nil, o.keepMarks(file, w, err)
		}
	}
	p.say("\nLet the beans out. Until somebody says that the drum is empty the machine is not heated.")
	if a, err := p.ask(ctx, "Is the drum empty? y or n:", "y", "n"); err == nil && a == "y" {
		if err := api.order(ctx, record.Command{Kind: record.Dropped}, o.who); err != nil {
			p.say("Not taken: %s. Say it at the machine before the next warming.", err)
		}
	}
	return file, nil
}

// mayTurn asks the daemon whether the drum may be turned by hand now, and
// whether it runs this machine.
func (o *trialOptions) mayTurn(ctx context.Context, api *localAPI) error {
	var v record.View
	if err := api.get(ctx, "/api/v1/state", &v); err != nil {
		return err
	}
	for _, c := range v.Commands {
		if c.Kind == record.TurnDrum && c.Refused != "" {
			return fmt.Errorf("no trial now: %s", c.Refused)
		}
	}
	return nil
}

// stage takes the marks of one stage.
func (o *trialOptions) stage(ctx context.Context, g *atGlass, d *drumInputs, s drum.Stage, limits drum.SpeedRange) (trialStage, error) {
	out := trialStage{Name: s.Name, LossPercent: 100 * s.LossFrac, LoadedG: d.setup.BatchG.Value * (1 - s.LossFrac)}
	lo, hi := limits.Around(s.SkinMMS.Value)
	g.say("\n%s, %.3g %% lost: empty the drum and load %.0f g of these beans.", s.Name, out.LossPercent, out.LoadedG)
	if a, err := g.ask(ctx, "Enter when they are in and the drum is shut, s to leave this stage out:", "", "s"); err != nil || a == "s" {
		return out, firstOf(err, errSkipped)
	}
	for {
		a, err := g.ask(ctx, "Weight of a litre jug of them in g, or Enter if not weighed:")
		if err != nil {
			return out, err
		}
		if a == "" {
			break
		}
		if v, err := strconv.ParseFloat(strings.ReplaceAll(a, ",", "."), 64); err == nil && v >= 200 && v <= 900 {
			out.BulkKgPerM3 = v // g per litre
			break
		}
		g.say("That is no weight from 200 to 900 g.")
	}
	for i := 0; i < o.repeats; {
		from, to, way := lo, hi, "from below: press Enter when the stream first falls just past the shaft and on the bed"
		if i%2 == 1 {
			from, to, way = hi, lo, "from above: press Enter when the stream has come back to just past the shaft, none over the top"
		}
		g.say("Sweep %d of %d, %.0f to %.0f mm/s, %s. No dead heap.", i+1, o.repeats, from, to, way)
		if _, err := g.ask(ctx, "Enter to start; the horn sounds first:", ""); err != nil {
			return out, err
		}
		v, err := sweep(ctx, g, from, to)
		if errors.Is(err, errNoMark) {
			a, err := g.ask(ctx, "The sweep is over without a mark. r to repeat it, w for a wider one, s to leave the stage out:", "r", "w", "s")
			if err != nil || a == "s" {
				return out, firstOf(err, errSkipped)
			}
			if a == "w" {
				span := hi - lo
				lo, hi = max(limits.Low.SkinMMS, lo-span/2), min(limits.High.SkinMMS, hi+span/2)
			}
			continue
		}
		if err != nil {
			return out, err
		}
		a, err := g.ask(ctx, fmt.Sprintf("Marked at %.0f mm/s. Enter to keep it, r to repeat the sweep:", v), "", "r")
		if err != nil {
			return out, err
		}
		if a == "" {
			out.MarksMMS = append(out.MarksMMS, math.Round(10*v)/10)
			i++
		}
	}
	return out, nil
}

// report prints the fit, the schedule and what changed since earlier trials.
func (o *trialOptions) report(w io.Writer, file *trialFile, fit *drum.Fit, earlier map[string]*trialFile) error {
	changes := map[string][]drum.Change{}
	for _, path := range o.compare {
		old, err := drum.FitLaw(drum.ByLoss, earlier[path].observations(), earlier[path].Trial.ResolutionMMS)
		if err != nil {
			return err
		}
		changes[path] = fit.Compare(old)
	}
	if o.asJSON {
		return printJSON(w, map[string]any{"machine": file.Trial.Machine, "when": file.Trial.When, "who": file.Trial.Who, "beans": file.Trial.Beans, "simulated": file.Trial.Simulated,
			"fit": fit, "schedule": file.Schedule, "compared": changes})
	}
	law := "v = green speed × exp(−k × loss)"
	if fit.Law == drum.ByDensity {
		law = "v = green speed × (density / green density) to the power n"
	}
	fmt.Fprintf(w, "\n%s: green speed %s mm/s, exponent %s, residuals %.1f mm/s rms.\n%s.\n\n", law, figureText(fit.GreenMMS, 1), figureText(fit.Exponent, 2), fit.RMSMMS, upperFirst(fit.Why))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "stage\tlost %\tmarks\tmean mm/s\tspread\tfitted\toff\tleft out")
	for _, r := range fit.Residuals {
		left := "-"
		if r.HasLeftOut {
			left = fmt.Sprintf("%+.1f", r.LeftOutMMS)
		}
		fmt.Fprintf(t, "%s\t%.3g\t%d\t%s\t%.1f\t%s\t%+.1f\t%s\n", r.Stage, 100*r.LossFrac, r.Marks, figureText(r.MeanMMS, 1), r.SpreadMMS, figureText(r.FittedMMS, 1), r.OffMMS, left)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n± covers about 95 %; off and left out are the law less the mean, left out with that stage not in the fit.\nSchedule, between its points a monotone curve (good to about 5 %: hot beans differ):")
	for _, s := range file.Schedule {
		fmt.Fprintf(w, "  - {loss: %s, speed: %s}\n", s.Loss, s.Speed)
	}
	for _, path := range o.compare {
		old := earlier[path].Trial
		fmt.Fprintf(w, "\nAgainst %s (%s, %s, %s):\n", path, old.When.Format(time.DateOnly), old.Who, old.Beans)
		for _, c := range changes[path] {
			verdict := "no difference beyond what the marks allow"
			if c.Differs {
				verdict = "differs"
			}
			fmt.Fprintf(w, "  %s: %.0f mm/s, was %.0f, %+.0f: %s\n", c.Stage, c.NowMMS.Value, c.ThenMMS.Value, c.MoreMMS, verdict)
		}
	}
	if o.out != "" {
		fmt.Fprintf(w, "\nKept in %s.\n", o.out)
	}
	return nil
}

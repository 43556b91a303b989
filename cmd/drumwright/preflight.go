package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"drumwright/control/learn"
	"drumwright/control/preflight"
	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/io/report"
	"drumwright/profiles"
)

type preflightOptions struct {
	asJSON       bool
	out, journal string
}

// machineHere is the machine file that a command takes if none is named.
const machineHere = "machine.yaml"

func preflightCommand() *cobra.Command {
	var o preflightOptions
	c := &cobra.Command{
		Use:   "preflight [MACHINE] RECIPE",
		Short: "Roast a recipe on paper before beans are wasted on it",
		Long: `preflight roasts a recipe with the controller on its own model of the machine,
which is as right as the machine file, and as what earlier batches have taught if
their journal is named: bean probe and bed, the coffee's loss as weighed, and where
it cracks as heard. It says whether the curve can be followed,
what stands at a limit, when, and what that costs, and what to expect: first
crack, drop, loss, drum speed, energy. Nothing is opened and nothing moves.

MACHINE is a machine file or the name of a shipped machine; without it
machine.yaml in this folder. The command fails if the recipe is beyond the
machine. The beans of a coffee that was never heard are expected to crack at
197.5 ± 8 °C. What stands behind ± is twice the standard deviation, as everywhere:
of a hundred batches some 95 come within it.`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 1 {
				args = []string{machineHere, args[0]}
			}
			return runPreflight(cmd.Context(), &o, args[0], args[1], cmd.OutOrStdout())
		},
	}
	f := c.Flags()
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object on standard output")
	f.StringVar(&o.journal, "journal", "", "journal of the batches that have taught something; empty = nothing is learned")
	f.StringVar(&o.out, "out", "", "write a page with the curves into this file, such as preflight.html")
	return c
}

func runPreflight(ctx context.Context, o *preflightOptions, machine, recipe string, stdout io.Writer) error {
	m, err := machineFrom(machine)
	if err != nil {
		return err
	}
	r, err := recipeFrom(recipe)
	if err != nil {
		return err
	}
	if err := profiles.Fit(r, m); err != nil {
		return err
	}
	var l *learn.Lessons
	if o.journal != "" {
		if l, err = journalLessons(ctx, o.journal, m, r); err != nil {
			return err
		}
	}
	b := report.Batch{ID: 1}
	res, err := preflight.Run(m, r, l, func(s *record.Scan) { sketch(&b, s) })
	if err != nil {
		return err
	}
	if o.out != "" {
		if err := writeSketch(o.out, &b, res); err != nil {
			return err
		}
	}
	if o.asJSON {
		err = printJSON(stdout, res)
	} else {
		err = printPreflight(stdout, res)
	}
	if err != nil {
		return err
	}
	if !res.Reachable {
		return exitError{codeFailed, errors.New("this recipe is beyond this machine: " + strings.Join(res.Why, "; "))}
	}
	return nil
}

// journalLessons are what the batches of a journal have taught of a recipe.
func journalLessons(ctx context.Context, path string, m *profiles.Machine, r *profiles.Recipe) (*learn.Lessons, error) {
	j, err := journal.OpenReader(path)
	if err != nil {
		return nil, err
	}
	defer j.Close()
	hold, err := inForce(ctx, j)
	if err != nil {
		return nil, fmt.Errorf("journal %s: %w", path, err)
	}
	return lessonsOf(hold, m, r)
}

// sketch keeps a scan for the page.
func sketch(b *report.Batch, s *record.Scan) {
	b.Samples = append(b.Samples, report.SampleOf(s))
	for i := range s.NumEvents {
		if e := s.Events[i]; e.Kind == record.Milestone || e.Kind == record.Trip {
			at := s.Batch.SinceS
			if e.Name == record.MilestoneTurningPoint {
				at = s.Batch.TurnS
			}
			b.Events = append(b.Events, report.Event{S: at, Kind: e.Kind, Name: e.Name, Text: e.Text})
		}
	}
}

func writeSketch(path string, b *report.Batch, r *preflight.Result) (err error) {
	b.Figures = []report.Figure{
		{Name: "first crack expected", Value: fmt.Sprintf("%.0f ± %.0f", r.CrackS, 2*r.CrackSdS), Unit: "s"},
		{Name: "drop", Value: fmt.Sprintf("%.0f", r.DropS), Unit: "s"},
		{Name: "drop temperature", Value: fmt.Sprintf("%.1f", r.DropC), Unit: "°C"},
		{Name: "loss", Value: fmt.Sprintf("%.1f ± %.1f", 100*r.Loss, 200*r.LossSd), Unit: "%"},
		{Name: "heat", Value: fmt.Sprintf("%.2f", r.EnergyKWh), Unit: "kWh"},
	}
	s := report.Session{Machine: r.Machine, Recipe: r.Recipe, Batches: []report.Batch{*b}, Remarks: r.Why,
		Note: "Preflight: roasted on the controller's model of the machine, not on any machine."}
	for _, l := range r.Limits {
		s.Remarks = append(s.Remarks, limitText(&l))
	}
	f, err := os.Create(path)
	if err != nil {
		return fmt.Errorf("page of the preflight: %w", err)
	}
	return errors.Join(report.Write(f, &s), f.Close())
}

func limitText(l *preflight.Limit) string {
	text := fmt.Sprintf("%s to %s  %s", minutes(l.FromS), minutes(l.ToS), l.What)
	if l.OffC >= 0.05 {
		text += fmt.Sprintf(": up to %.1f K off %s", l.OffC, l.OfWhy)
	}
	if l.LateS >= 0.5 {
		text += fmt.Sprintf(", %.0f s late", l.LateS)
	}
	return text
}

func minutes(s float64) string {
	n := int(math.Round(s))
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}

// crackWhy says where the beans are expected to crack, and how that is known.
func crackWhy(r *preflight.Result) string {
	by := "as coffees usually do"
	switch {
	case r.Heard == 1:
		by = "as heard in the last batch"
	case r.Heard > 1:
		by = fmt.Sprintf("as heard in the last %d batches", r.Heard)
	}
	return fmt.Sprintf("beans at %.1f ± %.1f °C, %s", r.CrackBeanC, 2*r.CrackBeanSdC, by)
}

func lossWhy(r *preflight.Result) string {
	switch r.Weighed {
	case 0:
		return ""
	case 1:
		return ", corrected by 1 weighed batch"
	}
	return fmt.Sprintf(", corrected by %d weighed batches", r.Weighed)
}

func printPreflight(w io.Writer, r *preflight.Result) error {
	verdict := "within reach"
	if !r.Reachable {
		verdict = "BEYOND REACH"
	}
	fmt.Fprintf(w, "%s on %s: %s\n", r.Recipe, r.Machine, verdict)
	for _, why := range r.Why {
		fmt.Fprintf(w, "  %s\n", why)
	}
	fmt.Fprintln(w)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	row := func(name, format string, args ...any) { fmt.Fprintf(t, "%s\t%s\n", name, fmt.Sprintf(format, args...)) }
	if r.DropS > 0 {
		if r.Curve {
			row("off the curve", "%.1f °C rms, at most %.1f °C at %s", r.RmsC, r.MaxC, minutes(r.MaxAtS))
		}
		row("turning point", "%s, %.0f °C", minutes(r.TurnS), r.TurnC)
		if r.CrackS > 0 {
			row("first crack", "%s ± %.0f s, at %.1f %% loss; %s", minutes(r.CrackS), 2*r.CrackSdS, 100*r.CrackLoss, crackWhy(r))
			row("development", "%.0f s, %.0f %% of the roast", r.DevelopmentS, 100*r.DevelopmentS/r.DropS)
		} else {
			row("first crack", "not before the drop; %s", crackWhy(r))
		}
		row("drop", "%s, %.1f °C", minutes(r.DropS), r.DropC)
		row("loss", "%.1f ± %.1f %%%s", 100*r.Loss, 200*r.LossSd, lossWhy(r))
		row("heat", "%.2f kWh: air %.2f, panels %.2f", r.EnergyKWh, r.AirKWh, r.BaseKWh)
		row("air heater", "at most %.0f %%, at %s", 100*r.PeakAirDuty, minutes(r.PeakAirDutyAtS))
		row("inlet air", "at most %.0f °C, at %s", r.PeakInletC, minutes(r.PeakInletAtS))
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if len(r.Limits) > 0 {
		fmt.Fprintln(w, "\nAt a limit:")
		for i := range r.Limits {
			fmt.Fprintf(w, "  %s\n", limitText(&r.Limits[i]))
		}
	}
	if len(r.Moments) == 0 {
		return nil
	}
	fmt.Fprintln(w)
	t = tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "min:s\tprobe °C\tbeans °C\tinlet °C\tskin °C\tair kg/h\tloss %\tdrum mm/s\trpm\tHz\t  at")
	for _, x := range r.Moments {
		fmt.Fprintf(t, "%s\t%.1f\t%.1f\t%.0f\t%.0f\t%.1f\t%.1f\t%.0f\t%.1f\t%.1f\t  %s\n", minutes(x.AtS), x.ProbeC, x.BeanC, x.InletC, x.SkinC, x.FlowKgPerH,
			100*x.Loss, x.DrumMMPerS, x.DrumRPM, x.DrumHz, x.Name)
	}
	return t.Flush()
}

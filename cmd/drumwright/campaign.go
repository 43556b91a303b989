package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/campaign"
	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/profiles"
)

type campaignOptions struct {
	machine, recipe string
	row             string
	asJSON, quick   bool
	pairs           string
	nuisance        int
	days            daysOptions
	seed            uint64
}

func campaignCommand() *cobra.Command {
	var o campaignOptions
	c := &cobra.Command{
		Use:   "campaign",
		Short: "Try the controller against every known fault on the simulated machine",
		Long: `campaign plays one fault after the other on the simulated machine, each at the
moments of a batch at which it makes sense, and judges by what the machine truly
did: heat off in time and for good, drum and air as the safe state says, nothing
hotter than it may be. Hazards that cannot be played here are covered by named
tests, or not at all: the last lines say so. It proves nothing about a real
machine.

--pairs plays pairs of faults at random moments instead: a number of pairs drawn
at random, all of them, or one as FAULT+FAULT. --nuisance plays ordinary batches
instead, on both shipped machines in turn unless --machine is given: noise, 1 %
of replies lost or corrupt, unsteady mains, cold and hot rooms, late operators.
Nothing may trip. The single faults are played as well if --row or --quick is
given.

--days plays a shop's days instead, 24 hours each, one after another with a restart
each morning: some batches, then the machine stands cold. On every third day something
breaks in the first batch, each time something else; on every second day the disk is
stuck, full or read-only for 15 minutes; the broker is never of any use, away, mute or
hanging up. The journal is a real one. Every batch, trip, event and scan of a batch
must be in it at the end, no trip may come that the day's fault does not explain, and
memory, open files and goroutines must not grow.

Exit codes: 0 all passed, 1 not all passed or could not, 2 wrong command line or
file.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			machines := []string{o.machine}
			if !cmd.Flags().Changed("machine") {
				machines = []string{"heron-1000", "lark-300"}
			}
			if o.days.days != 0 {
				return runDays(cmd.Context(), &o, cmd.OutOrStdout())
			}
			return runCampaign(cmd.Context(), &o, machines, cmd.OutOrStdout())
		},
	}
	f := c.Flags()
	f.StringVar(&o.machine, "machine", "heron-1000", "machine file, or the name of a shipped machine")
	f.StringVar(&o.recipe, "recipe", "", "recipe file, or the name of a shipped recipe; empty = the first shipped one that fits")
	f.StringVar(&o.row, "row", "", "only the rows of this hazard, such as H34")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object on standard output")
	f.BoolVar(&o.quick, "quick", false, "each fault at one moment only")
	f.StringVar(&o.pairs, "pairs", "", "pairs of faults: a number, all, or FAULT+FAULT")
	f.IntVar(&o.nuisance, "nuisance", 0, "number of ordinary batches, 1 to 100000")
	f.IntVar(&o.days.days, "days", 0, "number of days of a shop, 1 to 1000")
	f.IntVar(&o.days.batches, "batches", 6, "with --days: batches a day")
	f.Float64Var(&o.days.hours, "hours", 24, "with --days: hours of each day; as many more as its batches need")
	f.Uint64Var(&o.seed, "seed", 1, "seed of noise, deviations, moments and batches")
	return c
}

// campaignResult is what --json prints. Covered counts the hazards of the list
// that were judged in this run.
type campaignResult struct {
	Covered   int                      `json:"covered"`
	Total     int                      `json:"total"`
	Results   []campaign.Result        `json:"results"`
	Elsewhere []campaign.Elsewhere     `json:"elsewhere"`
	Pairs     *campaign.PairsResult    `json:"pairs,omitempty"`
	Nuisance  *campaign.NuisanceResult `json:"nuisance,omitempty"`
	WallS     float64                  `json:"wall_s"`

	oneRow bool // nothing to say of the others
}

func runCampaign(ctx context.Context, o *campaignOptions, machines []string, stdout io.Writer) error {
	begin := time.Now()
	bench, err := benchFor(o.machine, o.recipe, o.seed)
	if err != nil {
		return err
	}
	rows, err := rowsFor(o.row)
	if err != nil {
		return err
	}
	pairs, err := parsePairs(o.pairs, o.seed)
	if err != nil {
		return err
	}
	if o.nuisance < 0 || o.nuisance > 100000 {
		return exitError{codeInput, fmt.Errorf("--nuisance %d: allowed is 1 to 100000", o.nuisance)}
	}
	out := campaignResult{oneRow: o.row != "", Total: campaign.Total, Results: []campaign.Result{}, Elsewhere: campaign.NotHere()}
	if len(pairs) == 0 && o.nuisance == 0 || o.quick || o.row != "" {
		if out.Results, err = campaign.Rows(ctx, bench, rows, o.quick); err != nil {
			return err
		}
		out.Covered = campaign.Covered(out.Results)
	}
	if len(pairs) > 0 {
		p, err := campaign.Pairs(ctx, bench, pairs)
		if err != nil {
			return err
		}
		out.Pairs = &p
	}
	if o.nuisance > 0 {
		var benches []campaign.Bench
		for _, m := range machines {
			b, err := benchFor(m, o.recipe, o.seed)
			if err != nil {
				return err
			}
			benches = append(benches, b)
		}
		n, err := campaign.Nuisance(ctx, benches, o.nuisance)
		if err != nil {
			return err
		}
		out.Nuisance = &n
	}
	out.WallS = time.Since(begin).Seconds()
	if o.asJSON {
		err = printJSON(stdout, out)
	} else {
		err = printCampaign(stdout, &out)
	}
	if err != nil {
		return err
	}
	return out.verdict()
}

// verdict is the error of a campaign that did not pass.
func (r *campaignResult) verdict() error {
	var bad []string
	if n := r.failed(); n > 0 {
		bad = append(bad, fmt.Sprintf("%d of %d runs did not pass", n, len(r.Results)))
	}
	if p := r.Pairs; p != nil && len(p.Failed) > 0 {
		bad = append(bad, fmt.Sprintf("%d of %d pairs were not survived", len(p.Failed), p.Made))
	}
	if n := r.Nuisance; n != nil && len(n.Trips) > 0 {
		bad = append(bad, fmt.Sprintf("%d of %d ordinary batches tripped or were not roasted", len(n.Trips), n.Runs))
	}
	if len(bad) == 0 {
		return nil
	}
	return exitError{codeFailed, fmt.Errorf("%s", strings.Join(bad, ", "))}
}

func (r *campaignResult) failed() int {
	n := 0
	for _, x := range r.Results {
		if !x.Pass {
			n++
		}
	}
	return n
}

// benchFor makes machine and recipe of each run anew, having read both once.
func benchFor(machine, recipe string, seed uint64) (campaign.Bench, error) {
	m, err := machineFrom(machine)
	if err != nil {
		return campaign.Bench{}, err
	}
	if recipe == "" {
		for _, name := range []string{"harbour-medium", "window-stages"} {
			r, err := recipeFrom(name)
			if err != nil {
				return campaign.Bench{}, err
			}
			if profiles.Fit(r, m) == nil {
				recipe = name
				break
			}
		}
		if recipe == "" {
			return campaign.Bench{}, exitError{codeInput, fmt.Errorf("no shipped recipe fits %s: name one with --recipe", machine)}
		}
	}
	r, err := recipeFrom(recipe)
	if err != nil {
		return campaign.Bench{}, err
	}
	if err := profiles.Fit(r, m); err != nil {
		return campaign.Bench{}, err
	}
	return campaign.Bench{
		Machine: func() (*profiles.Machine, error) { return machineFrom(machine) },
		Recipe:  func() (*profiles.Recipe, error) { return recipeFrom(recipe) },
		Seed:    seed,
	}, nil
}

func rowsFor(hazard string) ([]campaign.Row, error) {
	rows := campaign.Table()
	if hazard == "" {
		return rows, nil
	}
	hazard = strings.ToUpper(hazard)
	rows = slices.DeleteFunc(rows, func(r campaign.Row) bool { return r.Hazard != hazard })
	if len(rows) > 0 {
		return rows, nil
	}
	for _, e := range campaign.NotHere() {
		if e.Hazard == hazard {
			return nil, exitError{codeInput, fmt.Errorf("--row %s: %s: not played here; %s", hazard, e.What, coveredBy(e))}
		}
	}
	return nil, exitError{codeInput, fmt.Errorf("--row %q: allowed is H01 to H%d", hazard, campaign.Total)}
}

func coveredBy(e campaign.Elsewhere) string {
	if e.By == "" {
		return "nothing covers it"
	}
	return "covered by the test " + e.By
}

func parsePairs(text string, seed uint64) ([]campaign.Pair, error) {
	if text == "" {
		return nil, nil
	}
	if text == "all" {
		return campaign.AllPairs(), nil
	}
	if a, b, ok := strings.Cut(text, "+"); ok {
		for _, f := range []string{a, b} {
			if !rehearsal.KnownFault(f) {
				return nil, exitError{codeInput, fmt.Errorf("--pairs %q: there is no fault %q; known are %s", text, f, strings.Join(rehearsal.FaultNames(), ", "))}
			}
		}
		return []campaign.Pair{{A: a, B: b}}, nil
	}
	if n, err := strconv.Atoi(text); err == nil && n > 0 {
		return campaign.SomePairs(n, seed), nil
	}
	return nil, exitError{codeInput, fmt.Errorf("--pairs %q: allowed is a number from 1, all, or two faults as FAULT+FAULT", text)}
}

func printCampaign(w io.Writer, r *campaignResult) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	if len(r.Results) > 0 {
		fmt.Fprintln(t, "ROW\tFAULT\tMOMENT\tLIMIT\tMEASURED\tVERDICT\tFIRST CAUSE")
	}
	for _, x := range r.Results {
		limit, measured, verdict := "-", "-", "pass"
		if x.LimitS > 0 {
			limit, measured = fmt.Sprintf("%.1f s", x.LimitS), fmt.Sprintf("%.1f s", x.MeasuredS)
		}
		if !x.Pass {
			verdict = "FAIL: " + x.Why
		}
		cause := strings.TrimSpace(x.Cause + " " + x.SafeState)
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\t%s\t%s\n", x.Row, x.Name, x.Moment, limit, measured, verdict, cause)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if len(r.Results) > 0 {
		fmt.Fprintf(w, "\n%d of %d runs passed; %d of the %d hazards were judged here.\n", len(r.Results)-r.failed(), len(r.Results), r.Covered, r.Total)
	}
	switch {
	case len(r.Results) > 0 && !r.oneRow:
		for _, e := range r.Elsewhere {
			fmt.Fprintf(w, "%s  %s: %s\n", e.Hazard, e.What, coveredBy(e))
		}
	case len(r.Results) == 0 && r.oneRow:
		fmt.Fprintln(w, "This machine cannot play the row: see matrix for what is not covered.")
	}
	if p := r.Pairs; p != nil {
		fmt.Fprintf(w, "\nPairs of faults: %d of %d survived.\n", p.Survived, p.Made)
		for _, l := range p.Limits {
			fmt.Fprintf(w, "Beyond software: %s.\n", l)
		}
		for _, f := range p.Failed {
			fmt.Fprintf(w, "%s at %.0f s and %s at %.0f s after charge: %s\n", f.A, f.AAtS, f.B, f.BAtS, f.Why)
		}
	}
	if n := r.Nuisance; n != nil {
		fmt.Fprintf(w, "\nOrdinary batches: %d trips in %d runs, %d roasted, %.0f s of the shop.\n", len(n.Trips), n.Runs, n.Roasted, n.SimulatedS)
		for _, x := range n.Trips {
			fmt.Fprintf(w, "run %d, %s, %s, at %.1f s: %s %s %s\n", x.Run, x.Machine, x.Recipe, x.AtS, x.Cause, x.SafeState, x.Text)
		}
	}
	fmt.Fprintf(w, "%.0f s.\n", r.WallS)
	return nil
}

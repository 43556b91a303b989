package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"regexp"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/assess"
)

type assessOptions struct {
	quick, asJSON       bool
	learning, estimator bool
	plots, only         string
}

func assessCommand() *cobra.Command {
	var o assessOptions
	c := &cobra.Command{
		Use:   "assess [MACHINE]",
		Short: "Measure how well roasts keep to their curve when machine and coffee are not as told",
		Long: `assess roasts a grid of batches on simulated machines that differ from what the
controller was told: heavier, weaker, colder, wetter, with a slower probe, one
thing at a time, all extremes together and drawn at random, along three curves.
Controller and interlocks are those that serve a real machine; the wire is left
out, so that the whole grid takes minutes.

MACHINE is a machine file or the name of a shipped machine; without it the
shipped machines are assessed, one for 250 g and one for 1 kg.

A deviation counts from 60 s after the turning point to the planned drop. A
batch is in reach when a run that knows everything about the machine, with the
same limits, keeps to the curve within 1.0 °C rms. A single mismatch that a limit
of inlet air or heater holds back is named with the share of its time there, and
excused only if it keeps its goal in all the time that the limit does not bear
on. The command fails when a nominal batch or a single mismatch in reach misses
its goal; of --learning and --estimator when any goal is missed.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runAssess(cmd.Context(), &o, args, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.BoolVar(&o.quick, "quick", false, "only the nominal batch and the single mismatches on the medium curve")
	f.StringVar(&o.only, "only", "", "only the batches whose machine, curve, group and name match this regular expression, such as 'C corner mass -20'")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object on standard output")
	f.BoolVar(&o.learning, "learning", false, "instead: what batches teach the next, on machines that stay as they are, change, or roast ten in a row from cold")
	f.BoolVar(&o.estimator, "estimator", false, "instead: how well bean temperature, probe lag, loss and first crack are told as a coffee is heard and weighed, and whether the stated deviations come true")
	f.StringVar(&o.plots, "plots", "", "folder for reports of the nominal and the worst batches, with --learning of the learned ones; empty = none")
	c.MarkFlagsMutuallyExclusive("estimator", "plots")
	c.MarkFlagsMutuallyExclusive("learning", "estimator", "quick")
	return c
}

// assessResult is what --json prints. Losses are shares of the green mass.
type assessResult struct {
	Goals   []assess.Goal    `json:"goals"`
	Summary []assess.Summary `json:"summary"`
	Cells   []assess.Result  `json:"cells"`
	Plots   []string         `json:"plots,omitempty"`
	WallS   float64          `json:"wall_s"`
}

func runAssess(ctx context.Context, o *assessOptions, args []string, stdout, stderr io.Writer) error {
	begin := time.Now()
	only, err := regexp.Compile(o.only)
	if err != nil {
		return exitError{codeInput, fmt.Errorf("--only: %w", err)}
	}
	var sizes []assess.Size
	if len(args) > 0 {
		m, err := machineFrom(args[0])
		if err != nil {
			return err
		}
		sizes = []assess.Size{assess.Of(m)}
	} else {
		if sizes, err = assess.Standard(); err != nil {
			return err
		}
	}
	if o.learning || o.estimator {
		return runStudy(ctx, o, sizes, stdout)
	}
	cells := assess.Only(assess.Grid(sizes, o.quick), only)
	if len(cells) == 0 {
		return exitError{codeInput, fmt.Errorf("--only %q matches no batch; it is held against lines such as %q", o.only, "heron-1000 A single mass -20 %")}
	}
	fmt.Fprintf(stderr, "%d batches\n", len(cells))
	results, err := assess.Run(ctx, cells)
	if err != nil {
		return err
	}
	out := assessResult{Goals: assess.Judge(results), Summary: assess.Summarise(results), Cells: results}
	if out.Plots, err = plotAll(assess.Telling(results), o.plots); err != nil {
		return err
	}
	out.WallS = time.Since(begin).Seconds()
	if o.asJSON {
		err = printJSON(stdout, out)
	} else {
		err = assess.Print(stdout, results, out.Goals)
		namePlots(stdout, out.Plots)
	}
	if err != nil {
		return err
	}
	for _, g := range out.Goals {
		if g.Must && !g.Kept {
			return exitError{codeFailed, errors.New("a goal was missed: " + g.Text + ": " + g.Got)}
		}
	}
	return nil
}

// plotAll writes reports into a folder; without one it writes none.
func plotAll(list []*assess.Result, folder string) (paths []string, err error) {
	if folder == "" {
		return nil, nil
	}
	for _, r := range list {
		path, err := assess.Plot(r, folder)
		if err != nil {
			return nil, err
		}
		paths = append(paths, path)
	}
	return paths, nil
}

func namePlots(stdout io.Writer, paths []string) {
	for _, p := range paths {
		fmt.Fprintf(stdout, "Report: %s\n", p)
	}
}

func runStudy(ctx context.Context, o *assessOptions, sizes []assess.Size, stdout io.Writer) error {
	study := assess.Learning
	if o.estimator {
		study = assess.Estimator
	}
	st, err := study(ctx, sizes)
	if err != nil {
		return err
	}
	plots, err := plotAll(st.Telling(), o.plots)
	if err != nil {
		return err
	}
	if o.asJSON {
		err = printJSON(stdout, st)
	} else {
		err = assess.PrintStudy(stdout, st)
		namePlots(stdout, plots)
	}
	if err != nil {
		return err
	}
	for _, g := range st.Goals {
		if !g.Kept {
			return exitError{codeFailed, errors.New("a goal was missed: " + g.Text + ": " + g.Got)}
		}
	}
	return nil
}

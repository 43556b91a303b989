package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"drumwright/control/drum"
)

type probeOptions struct {
	drumOptions
	journal  string
	batch    uint64
	simulate bool
	seed     uint64
}

func probeCommand() *cobra.Command {
	var o probeOptions
	c := &cobra.Command{
		Use:   "probe [MACHINE]",
		Short: "Find where the bean probe goes, and what to expect of it",
		Long: `probe finds the part of the face plate behind which beans lie at every stage, also
while some of them are on paddles or in flight, and the place in it that is best:
its margins to surface, wall, paddles and to the eye of the bed, and the smallest
batch that still covers a probe. For the usual sheaths it states response, error
by conduction along the stem, and what the lag does to reading and rate of rise;
then what to look at when the face is back on. With --svg it draws the place.

Lags are from memory of heat exchange in tumbling beans: expect half to double.
The first charges tell the truth: with --journal FILE the lag of the probe in the
bed, and how much of what it feels is bed, are found from a recorded batch, and
--simulate shows it on the simulated machine.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name := ""
			if len(args) > 0 {
				name = args[0]
			}
			if o.journal != "" || o.simulate {
				return o.warmTest(cmd.Context(), name, cmd.OutOrStdout())
			}
			d, err := drumInputsFrom(name, o.with, o.stages)
			if err != nil {
				return err
			}
			return o.run(d, cmd.OutOrStdout())
		},
	}
	o.flags(c)
	c.Flags().StringVar(&o.svg, "svg", "", "write the drawing to this file")
	c.Flags().StringVar(&o.journal, "journal", "", "find lag and bed share from a batch in this journal")
	c.Flags().Uint64Var(&o.batch, "batch", 0, "with --journal: number of the batch (default the newest)")
	c.Flags().BoolVar(&o.simulate, "simulate", false, "find lag and bed share from a charge of the simulated machine")
	c.Flags().Uint64Var(&o.seed, "seed", 1, "with --simulate: seed of the noise and of how the machine is off its file")
	c.Flags().BoolVar(&o.clockwise, "clockwise", false, "draw the drum as seen from the side from which it turns clockwise")
	return c
}

func (o *probeOptions) run(d *drumInputs, w io.Writer) error {
	p, err := d.setup.Put(d.stages, d.probe)
	if err != nil {
		return exitError{codeInput, err}
	}
	if o.svg != "" {
		stages, err := d.work()
		if err != nil {
			return err
		}
		if err := writeSection(o.svg, d, stages, p, o.clockwise); err != nil {
			return err
		}
	}
	if o.asJSON {
		return printJSON(w, map[string]any{"machine": d.name, "inputs": d.inputsJSON(), "placement": p})
	}
	if err := d.printPlacement(w, p); err != nil {
		return err
	}
	if o.svg != "" {
		fmt.Fprintf(w, "\nDrawing: %s\n", o.svg)
	}
	return nil
}

func (d *drumInputs) printPlacement(w io.Writer, p *drum.Placement) error {
	at := p.Best.XY(p.RadiusMM)
	fmt.Fprintf(w, "%s: place of the bean probe\n\n  %s\n  that is %.0f mm beside and %.0f mm below the shaft's centre\n\n", d.name, placeText(p), at.X, -at.Y)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	row := func(what string, f drum.Figure, unit string) {
		fmt.Fprintf(t, "%s\t%s %s\t%s\n", what, figureText(f, 0), unit, f.Method)
	}
	fmt.Fprintf(t, "margins at %s, where the bed is thinnest\t\t\n", p.Shallowest)
	row("beans over the tip, all in the bed", p.CoverFullMM, "mm")
	row("beans over the tip, 30 % of them away", p.CoverThinMM, "mm")
	row("from the eye of the bed, towards the wall", p.FromEyeMM, "mm")
	row("depth of the bed, 30 % of the beans away", p.ThinDepthMM, "mm")
	row("smallest green mass that covers a probe", p.LeastBatchG, "g")
	fmt.Fprintf(t, "from the circle of the paddles' tips\t%+.1f mm\tbelow 0 the paddles sweep the place\n", p.PastPaddleMM)
	if n := len(p.Region); n > 0 {
		fmt.Fprintf(t, "covered at every stage and tilt\t%.0f° to %.0f°\tfrom %.0f mm off the wall; hatched in the drawing\n", p.Region[0].AngleDeg, p.Region[n-1].AngleDeg, p.Region[0].FromMM)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintf(w, "\nSheaths, %s mm under beans, face plate %s K from the beans; lag at %g K/min, rate of rise falling by 1 K/min each minute\n",
		figureText(d.probe.ImmersedMM, 0), figureText(d.probe.FaceLessBedK, 0), d.probe.RatePerMinK)
	t = tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "diameter mm\tresponse s\tstem error K\tlength for 1 % mm\treads behind K\trate reads high K/min")
	sheath := func(s *drum.SheathRow, note string) {
		fmt.Fprintf(t, "%g%s\t%s\t%s\t%s\t%s\t%s\n", s.DiameterMM, note, figureText(s.ResponseS, 0), figureText(s.StemErrorK, 1), figureText(s.LengthFor1MM, 0), figureText(s.BehindK, 1), figureText(s.RateHighPerMin, 2))
	}
	given := false
	for i := range p.Sheaths {
		note := ""
		if p.Sheaths[i].DiameterMM == p.Given.DiameterMM {
			given, note = true, " (given)"
		}
		sheath(&p.Sheaths[i], note)
	}
	if !given {
		sheath(&p.Given, " (given)")
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, r := range p.Remarks {
		fmt.Fprintf(w, "  ! %s\n", r)
	}
	fmt.Fprintln(w, "\nWhen the face is back on:")
	for i, c := range p.Checks {
		fmt.Fprintf(w, "  %d. %s\n", i+1, c)
	}
	return nil
}

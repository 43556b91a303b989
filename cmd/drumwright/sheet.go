package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/control"
	"drumwright/control/drum"
	"drumwright/control/tune"
	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/io/report"
	"drumwright/profiles"
	"drumwright/safety"
	"drumwright/safety/proof"
)

func sheetCommand() *cobra.Command {
	out := ""
	c := &cobra.Command{
		Use:   "sheet MACHINE",
		Short: "Write a machine's figures as a page to print and share: how each was found, how sure it is",
		Long: `sheet writes one HTML page, black on white for A4, that others can check a machine
by: drum and speeds of each stage, where the bean probe goes, what was calibrated
by whom, the loops' gains and how far they are from oscillating, proof tests, and
the cause-and-effect matrix with its exceptions. Beside every figure stands how it
was found and its uncertainty, or that it was not measured. It reads the machine
file and its journal and changes nothing.

` + exitHelp,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			page, name, err := sheetOf(args[0], time.Now())
			if err != nil {
				return err
			}
			if out == "" {
				out = "sheet-" + fileName(name) + ".html"
			}
			if out == "-" {
				_, err := cmd.OutOrStdout().Write(page)
				return err
			}
			if err := os.WriteFile(out, page, 0o644); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Sheet: %s\n", out)
			return nil
		},
	}
	c.Flags().StringVarP(&out, "out", "o", "", "file to write, - for standard output; default named after the machine. One that is there is written anew")
	return c
}

// sheetOf makes the page of a machine as it is known at a time.
func sheetOf(machine string, now time.Time) (page []byte, name string, err error) {
	m, err := machineFrom(machine)
	if err != nil {
		return nil, "", err
	}
	d, err := drumInputsFrom(machine, nil, nil)
	if err != nil {
		return nil, "", err
	}
	s := report.Machine{Title: m.About.Name + ": figures of the machine", Machine: m.About.Name, Foot: "Written by drumwright " + versionText() + ". Limits and figures are this machine's and no advice for another; local codes and licensed practice come first."}
	s.About = fmt.Sprintf("%s, as of %s. Machine file %s, sha256 %.12s…", m.About.Name, now.Format(time.DateOnly), m.File, m.Hash)
	drumParts, err := drumSheet(d)
	if err != nil {
		return nil, "", err
	}
	commissioned, note := fromJournal(m, (*journal.Reader).Commissioned)
	items := commissionState(m, commissioned, played(m), now)
	if lacks := commissionLacks(items); lacks != "" {
		s.Warnings = append(s.Warnings, upperFirst(lacks)+".")
	}
	s.Parts = append(s.Parts, measuredSheet(items, note))
	s.Parts = append(s.Parts, drumParts...)
	s.Parts = append(s.Parts, heatSheet(m, items), loopSheet(m), proofSheet(m, now), matrixSheet(m, now), uncoveredSheet(m))
	var b bytes.Buffer
	err = report.WriteMachine(&b, &s)
	return b.Bytes(), m.About.Name, err
}

// measuredSheet lists what commissioning has found and what it has not.
func measuredSheet(items []commissionItem, note string) report.Part {
	p := report.Part{Title: "Measured, guessed, overdue" + note, Table: report.Table{Head: []string{"what", "stands as", "figure", "method", "who and when", "counts until"}}}
	for i := range items {
		x := &items[i]
		row := []string{words(x.name), x.state, "–", "not measured", "–", "–"}
		if l := x.last; l != nil {
			if row[3] = l.Method; l.Value.Known() {
				row[2] = strings.TrimSpace(fmt.Sprintf("%.4g %s", float64(l.Value), l.Unit))
			}
			if l.Uncertainty.Known() {
				row[2] += fmt.Sprintf(" ± %.2g", float64(l.Uncertainty))
			}
			row[4] = l.Who + ", " + l.When.Local().Format(time.DateOnly)
			if until, ends := l.Until(); ends {
				row[5] = until.Local().Format(time.DateOnly)
			} else {
				row[5] = "a change"
			}
		}
		p.Table.Rows = append(p.Table.Rows, row)
	}
	return p
}

func words(name string) string { return strings.ReplaceAll(name, "_", " ") }

// drumSheet tells of drum, speeds and the bean probe's place.
func drumSheet(d *drumInputs) ([]report.Part, error) {
	stages, err := d.work()
	if err != nil {
		return nil, err
	}
	limits, err := d.setup.SpeedLimits()
	if err != nil {
		return nil, exitError{codeInput, err}
	}
	place, err := d.setup.Put(d.stages, d.probe)
	if err != nil {
		return nil, exitError{codeInput, err}
	}
	svg, err := section(d, stages, place, false)
	if err != nil {
		return nil, err
	}
	inputs := report.Part{Title: "Drum and beans", Table: report.Table{Head: []string{"figure", "value", "unit", "how it was found"}}}
	for _, in := range drumInputList[:14] {
		if in.at == nil {
			inputs.Table.Rows = append(inputs.Table.Rows, []string{in.words, fmt.Sprintf("%g", in.value(d)), in.unit, "machine file, exact"})
			continue
		}
		f := *in.at(d)
		inputs.Table.Rows = append(inputs.Table.Rows, []string{in.words, figureText(f, decimalsFor(f)), in.unit, f.Method})
	}
	speeds := report.Part{Title: "Each stage", Note: fmt.Sprintf("Speeds to use: %.0f mm/s (%s) to %.0f mm/s (%s). ± covers about 95 %%. Bed figures are good to about 30 %%; the glass decides.",
		limits.Low.SkinMMS, limits.Low.By, limits.High.SkinMMS, limits.High.By), Table: report.Table{Head: []string{""}}}
	for _, s := range stages {
		speeds.Table.Head = append(speeds.Table.Head, fmt.Sprintf("%s, %.3g %% lost", s.Name, 100*s.LossFrac))
	}
	for q := range drum.NumQuantities {
		if !d.setup.Shows(q) {
			continue
		}
		row := []string{strings.TrimSuffix(q.Words()+", "+q.Unit(), ", ")}
		for _, s := range stages {
			row = append(row, figureText(s.Figures[q], q.Decimals()))
		}
		speeds.Table.Rows = append(speeds.Table.Rows, row)
	}
	how := []string{"skin speed is from"}
	for _, s := range stages {
		how = append(how, s.SkinMMS.Method)
	}
	speeds.Table.Rows = append(speeds.Table.Rows, how)
	at := place.Best.XY(place.RadiusMM)
	probe := report.Part{Title: "Place of the bean probe", Note: fmt.Sprintf("%s; %.0f mm beside and %.0f mm below the shaft's centre.", placeText(place), at.X, -at.Y),
		Table: report.Table{Head: []string{"margin", "value", "unit", "how it was found"}}, List: append(append([]string{}, place.Remarks...), place.Checks...)}
	for _, r := range []struct {
		what string
		f    drum.Figure
		unit string
	}{{"beans over the tip, all in the bed", place.CoverFullMM, "mm"}, {"beans over the tip, 30 % of them away", place.CoverThinMM, "mm"}, {"from the eye of the bed, towards the wall", place.FromEyeMM, "mm"},
		{"smallest green mass that covers a probe", place.LeastBatchG, "g"}, {"response of the sheath given", place.Given.ResponseS, "s"}, {"error by its stem", place.Given.StemErrorK, "K"}} {
		probe.Table.Rows = append(probe.Table.Rows, []string{r.what, figureText(r.f, 1), r.unit, r.f.Method})
	}
	return []report.Part{inputs, speeds, probe, {Title: "The drum at each stage", Drawing: svg, NewPage: true}}, nil
}

// decimalsFor shows two figures of the uncertainty, or three of the value.
func decimalsFor(f drum.Figure) int {
	x := f.Uncertainty
	if !(x > 0) {
		x = math.Abs(f.Value) / 10
	}
	if !(x > 0) {
		return 0
	}
	return max(0, 1-int(math.Floor(math.Log10(x))))
}

// heatSheet tells of heaters and air.
func heatSheet(m *profiles.Machine, items []commissionItem) report.Part {
	p := report.Part{Title: "Heat and air", NewPage: true, Table: report.Table{Head: []string{"figure", "value", "how it was found"}}}
	add := func(what, value, how string) { p.Table.Rows = append(p.Table.Rows, []string{what, value, how}) }
	found := func(what, item, value, unit, rest string) {
		how := "machine file, not measured"
		for i := range items {
			x := &items[i]
			if x.name != item || x.last == nil {
				continue
			}
			how = fmt.Sprintf("%s: %s by %s, %s", x.state, x.last.Method, x.last.Who, x.last.When.Local().Format(time.DateOnly))
			if x.apart == "" && x.last.Uncertainty.Known() {
				value += fmt.Sprintf(" ± %.2g", float64(x.last.Uncertainty))
			}
		}
		add(what, value+" "+unit+rest, how)
	}
	found("air heater", itemAir, fmt.Sprintf("%.0f", float64(m.Heaters.Air.PowerW)), "W", fmt.Sprintf(" at %.0f V", float64(m.Heaters.RatedV)))
	found("radiant panels", itemRadiant, fmt.Sprintf("%.0f", float64(m.Heaters.Radiant.PowerW)), "W", fmt.Sprintf(", at most %.0f %% of it", 100*float64(m.Heaters.Radiant.MaxDuty)))
	found("air flow, usual", itemFlow, fmt.Sprintf("%.3g", float64(m.Air.Nominal)), "kg/h", "")
	add("probe's lag in the bed", fmt.Sprintf("%.3g s", float64(m.Bed.ProbeLagS)), "machine file; drumwright probe MACHINE --journal finds it from charges")
	add("heat of drum and what turns with it", fmt.Sprintf("%.0f J/K", float64(m.Bed.DrumHeat)), "machine file; drumwright fit finds it from batches")
	return p
}

// processOff is by how much a process may answer otherwise than the machine file's
// figures make it (common practice, no source).
const processOff = 0.2

// loopSheet tells what the loops run on and how far each is from oscillating.
func loopSheet(m *profiles.Machine) report.Part {
	p := report.Part{Title: "Loops: gains and margins", Note: fmt.Sprintf("Margins on the process that the figures above make; drumwright tune measures it. Ms is the largest sensitivity: %.1f is aimed at, above %.1f is refused. Gains are set and exact; in brackets, the margins if the process answers %.0f %% less or more than that.", tune.TargetMs, tune.HighestMs, 100*processOff),
		Table: report.Table{Head: []string{"loop", "gain W/K", "integral s", "derivative s", "Ms", "gain margin", "phase margin °", "dead time to spare s"}}}
	add := func(name, loop string, flowKgPerH, tempC float64) {
		g, _, _ := control.LoopGains(m, loop, flowKgPerH, tempC)
		var of [3]tune.Margins
		for i, times := range [...]float64{1, 1 - processOff, 1 + processOff} {
			h := g
			h.Kc *= times // as if the process answered so much more
			of[i] = tune.MarginsOf(control.LoopProcess(m, loop, flowKgPerH, tempC), h, float64(m.Scan.PeriodS))
		}
		cell := func(see func(tune.Margins) float64) string {
			return fmt.Sprintf("%s (%s, %s)", sig(see(of[0])), sig(see(of[1])), sig(see(of[2])))
		}
		p.Table.Rows = append(p.Table.Rows, []string{name, sig(g.Kc), sig(g.TiS), sig(g.TdS), cell(func(x tune.Margins) float64 { return x.Ms }), cell(func(x tune.Margins) float64 { return x.Gain }),
			cell(func(x tune.Margins) float64 { return x.PhaseDeg }), cell(func(x tune.Margins) float64 { return x.DelayS })})
	}
	for _, share := range [...]float64{0.7, 1, 1.3} {
		flow := share * float64(m.Air.Nominal)
		add(fmt.Sprintf("inlet air, %.3g kg/h", flow), "air", flow, 250)
	}
	add("base heat", "base", float64(m.Air.Nominal), 200)
	return p
}

func sig(v float64) string {
	if math.IsInf(v, 1) {
		return "no end"
	}
	return fmt.Sprintf("%.3g", v)
}

func proofSheet(m *profiles.Machine, now time.Time) report.Part {
	kept, note := fromJournal(m, (*journal.Reader).Proofs)
	p := report.Part{Title: "Proof tests" + note, Table: report.Table{Head: []string{"test", "stands as", "must show", "seen", "who and when", "next"}}}
	for _, s := range proof.Due(proof.Tests(m), kept, now) {
		row := []string{strings.ReplaceAll(s.ID, "-", " "), s.State, s.Expected, "–", "–", "–"}
		if s.State == record.ProofImpossible {
			row[3] = "not possible for want of " + strings.Join(s.Lacking, " and ")
		}
		if l := s.Last; l != nil {
			row[3], row[4] = l.Result+": "+l.Seen, l.Who+", "+l.When.Local().Format(time.DateOnly)
		}
		if s.DueAt != nil {
			row[5] = s.DueAt.Local().Format(time.DateOnly)
		}
		p.Table.Rows = append(p.Table.Rows, row)
	}
	return p
}

func matrixSheet(m *profiles.Machine, now time.Time) report.Part {
	x := newMatrix(m, now.Format(time.DateOnly))
	p := report.Part{Title: "Cause and effect", NewPage: true, Small: true, Note: "Limits are those at nominal speed, air and demand. An estimate until a proof test has shown it.",
		Table: report.Table{Head: []string{"cause", "leads to", "threshold", "after", "reset", "what it means"}}}
	for _, l := range x.watched() {
		c := x.cells(l)
		p.Table.Rows = append(p.Table.Rows, []string{words(c[0]), c[1], c[3], c[4], c[5], l.Cause})
	}
	for i := range x.lines {
		if l := &x.lines[i]; l.Exception != "" {
			p.List = append(p.List, "Exception: "+words(l.ID)+" "+l.Exception)
		}
	}
	if len(p.List) == 0 {
		p.List = []string{"No exceptions."}
	}
	return p
}

func uncoveredSheet(m *profiles.Machine) report.Part {
	p := report.Part{Title: "Not watched on this machine", List: safety.Uncovered(m)}
	if len(p.List) == 0 {
		p.List = []string{"Nothing: there is a point for every cause."}
	}
	return p
}

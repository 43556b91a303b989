package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/io/report"
	"drumwright/profiles"
)

type reportOptions struct {
	journal, out string
	compare, at  string
	lot, month   string
}

func reportCommand() *cobra.Command {
	o := reportOptions{at: "charge"}
	c := &cobra.Command{
		Use:   "report [BATCH]",
		Short: "Write a report on a batch, a comparison, a lot or a month, as a page to print",
		Long: `report reads the journal and writes one HTML page, black on white, that prints on
A4 or Letter and needs nothing else:

  report 41                        one batch
  report --compare 41,38,39,40     the first against the others, 2 to 12 batches
  report --lot "Gesha 12"          all batches of a lot
  report --month 2026-11           a month: masses, loss, energy, what has drifted

Lots and months show control charts: is it chance, or has the machine moved?
Batches that were broken off are listed and never averaged.

` + exitHelp,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return writeReport(cmd.Context(), &o, args, cmd.OutOrStdout())
		},
	}
	f := c.Flags()
	f.StringVar(&o.journal, "journal", "drumwright.db", "journal file")
	f.StringVarP(&o.out, "out", "o", "", "file to write, - for standard output; default named after what is reported on. One that is there is written anew")
	f.StringVar(&o.compare, "compare", "", "numbers of 2 to 12 batches, by commas; the first is held against the others")
	f.StringVar(&o.at, "at", o.at, "with --compare: lined up at charge or first-crack")
	f.StringVar(&o.lot, "lot", "", "name of the green coffee")
	f.StringVar(&o.month, "month", "", "such as 2026-11")
	return c
}

func writeReport(ctx context.Context, o *reportOptions, args []string, stdout io.Writer) error {
	asked := len(args)
	for _, s := range []string{o.compare, o.lot, o.month} {
		if s != "" {
			asked++
		}
	}
	if asked != 1 {
		return exitError{codeInput, errors.New("name one: a batch, --compare, --lot or --month")}
	}
	r, err := journal.OpenReader(o.journal)
	if err != nil {
		return err
	}
	defer r.Close()
	var page bytes.Buffer
	name := ""
	switch {
	case len(args) == 1:
		id, e := batchNumber(args[0])
		if e != nil {
			return e
		}
		name = fmt.Sprintf("batch-%d.html", id)
		err = reportBatch(ctx, r, id, &page)
	case o.compare != "":
		name = "compare-" + strings.ReplaceAll(strings.ReplaceAll(o.compare, " ", ""), ",", "-") + ".html"
		err = reportComparison(ctx, r, o.compare, o.at, &page)
	case o.lot != "":
		name = "lot-" + fileName(o.lot) + ".html"
		err = reportLot(ctx, r, o.lot, &page)
	default:
		name = "month-" + fileName(o.month) + ".html"
		err = reportMonth(ctx, r, o.month, &page)
	}
	if err != nil {
		return err
	}
	switch o.out {
	case "-":
		_, err = stdout.Write(page.Bytes())
		return err
	case "":
		o.out = name
	}
	if err := os.WriteFile(o.out, page.Bytes(), 0o644); err != nil {
		return fmt.Errorf("report: %w", err)
	}
	fmt.Fprintf(stdout, "Report: %s\n", o.out)
	return nil
}

// fileName leaves letters, digits and dashes of a text.
func fileName(s string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		if r >= 'a' && r <= 'z' || r >= 'A' && r <= 'Z' || r >= '0' && r <= '9' {
			return r
		}
		return '-'
	}, s), "-")
}

// keptSample is a sample of the journal as reports draw it.
func keptSample(k *record.KeptSample) report.Sample {
	read := func(names ...string) float64 {
		for _, n := range names {
			if v, ok := k.Temperatures[n]; ok && v.Value.Known() {
				return float64(v.Value)
			}
		}
		return math.NaN()
	}
	duty := func(v record.Number) float64 {
		if !k.HeatPermitted {
			return 0
		}
		return float64(v)
	}
	since := float64(k.SinceChargeS)
	if !k.SinceChargeS.Known() {
		since = 0
	}
	return report.Sample{S: since, ProbeC: read("bean", "bean_2"), TargetC: float64(k.TargetC), TrueC: float64(k.TrueC), TrueSdC: float64(k.TrueSdC),
		InletC: read("inlet_air"), InletSetC: float64(k.AirSetC), SkinC: read("drum_skin", "drum_skin_2"), SkinSetC: float64(k.BaseSetC),
		ExhaustC: read("exhaust"), RateKPerMin: 60 * float64(k.RateKPerS), Loss: float64(k.Loss), LossSd: float64(k.LossSd),
		DrumMMPerS: float64(k.DrumMMPerS), DrumSetMMPerS: float64(k.DrumSetMMPerS), FlowKgPerH: float64(k.FlowKgPerH),
		AirDuty: duty(k.AirDuty), RadiantDuty: duty(k.BaseDuty)}
}

// roast is what of a kept batch lies between charge and drop, in order of time.
func roast(d *record.KeptDetail) []report.Sample {
	var all []report.Sample
	for i := range d.Samples {
		s := keptSample(&d.Samples[i])
		if n := len(all); n > 0 && s.S <= all[n-1].S {
			continue
		}
		if d.DropS.Known() && s.S > float64(d.DropS)+1 {
			break
		}
		all = append(all, s)
	}
	return all
}

func reportBatch(ctx context.Context, r *journal.Reader, id uint64, w io.Writer) error {
	d, err := r.Batch(ctx, id)
	if err != nil {
		return fmt.Errorf("batch %d: %w", id, err)
	}
	s := report.Session{Recipe: d.Recipe}
	if m, err := profiles.ParseMachine("machine.yaml", []byte(d.MachineText)); err == nil {
		s.Machine, s.Site = m.About.Name, m.About.Site
	}
	begin, err := time.Parse(time.RFC3339Nano, d.Charged)
	if err == nil {
		s.Start = begin.Local()
	}
	b := report.Batch{ID: d.ID, Samples: roast(&d), Figures: keptFigures(&d.KeptBatch)}
	said := map[string]bool{}
	for i := range d.Events {
		e := &d.Events[i]
		var kind record.EventKind
		switch e.Kind {
		case record.Milestone.String():
			kind = record.Milestone
		case record.Trip.String():
			kind = record.Trip
		case record.Warning.String():
			kind = record.Warning
		default:
			continue
		}
		at := math.NaN()
		if t, err := time.Parse(time.RFC3339Nano, e.Time); err == nil && len(d.Samples) > 0 {
			at = float64(e.ScanS) - float64(d.Samples[0].ScanS) + keptSample(&d.Samples[0]).S
			if t.Before(begin) {
				at = math.NaN()
			}
		}
		switch { // noticed a little after they are
		case e.Name == record.MilestoneTurningPoint && d.TurnS.Known():
			at = float64(d.TurnS)
		case e.Name == record.MilestoneDrop && d.DropS.Known():
			at = float64(d.DropS)
		}
		b.Events = append(b.Events, report.Event{S: at, Kind: kind, Name: e.Name, Text: e.Text})
		if kind == record.Trip && !said[e.Name] {
			said[e.Name] = true
			s.Remarks = append(s.Remarks, "Trip: "+e.Text)
		}
	}
	s.Batches = []report.Batch{b}
	s.Remarks = append(s.Remarks, enteredText(&d)...)
	if len(d.Samples) == 0 {
		s.Remarks = append(s.Remarks, "The samples of this batch are no longer in the journal: a backup has them.")
	}
	s.Remarks = append(s.Remarks, fmt.Sprintf("Result: %s. Recipe file %s, machine file %s (SHA-256). Printed %s.", d.Result, hashText(d.RecipeHash), hashText(d.MachineHash), time.Now().Format("2006-01-02 15:04")))
	return report.Write(w, &s)
}

func hashText(h string) string {
	if len(h) > 12 {
		return h[:12]
	}
	return orDash(h)
}

// enteredText is what people know of a batch, in sentences.
func enteredText(d *record.KeptDetail) []string {
	var out []string
	notes := map[string]string{}
	var order []string
	comment := ""
	for _, e := range d.Entries {
		switch e.Field {
		case record.FieldNote:
			if _, seen := notes[e.Item]; !seen {
				order = append(order, e.Item)
			}
			notes[e.Item] = e.After
			if e.After != "" {
				notes[e.Item] = e.After + " (" + e.Who + ")"
			}
		case record.FieldCupComments:
			comment = e.After
		}
	}
	for _, n := range order {
		if notes[n] != "" {
			out = append(out, "Note "+n+": "+notes[n])
		}
	}
	if comment != "" {
		out = append(out, "Cup: "+comment)
	}
	return out
}

func keptFigures(k *record.KeptBatch) []report.Figure {
	loss, weighed := k.LossShare()
	how := "loss, estimate"
	if weighed {
		how = "loss, weighed"
	}
	roasted := num(k.WeighedKg, 3)
	if !weighed {
		roasted = "not weighed –"
	}
	perKg := k.EnergyKWh / k.ChargedKg()
	all := []report.Figure{
		{Name: "green coffee", Value: orDash(k.Lot)},
		{Name: "green mass", Value: num(k.ChargedKg(), 3), Unit: "kg"},
		{Name: "roasted mass", Value: roasted, Unit: "kg"},
		{Name: "turning point", Value: clockText(k.TurnS) + ", " + num(k.TurnC, 1), Unit: "°C"},
		{Name: "first crack heard", Value: clockText(k.FirstCrackS)},
		{Name: "drop", Value: clockText(k.DropS)},
		{Name: "drop temperature", Value: num(k.DropC, 1), Unit: "°C"},
		{Name: "drop − target", Value: signed(k.DropC-k.TargetDropC, 1), Unit: "°C"},
		{Name: "after first crack", Value: clockText(k.DevelopmentS) + ", " + num(100*k.DevelopmentRatio, 1), Unit: "%"},
		{Name: how, Value: num(100*loss, 1), Unit: "%"},
		{Name: "off the curve, rms", Value: num(k.OffCurveRmsC, 2), Unit: "°C"},
		{Name: "heat, charge to drop", Value: num(k.EnergyKWh, 2), Unit: "kWh"},
		{Name: "heat for green mass", Value: num(perKg, 2), Unit: "kWh/kg"},
	}
	if k.CupTotal.Known() {
		all = append(all, report.Figure{Name: "cup", Value: num(k.CupTotal, 2)})
	}
	for i := range all {
		if strings.HasSuffix(all[i].Value, "–") {
			all[i].Unit = ""
			all[i].Value = strings.TrimSuffix(strings.TrimSuffix(all[i].Value, " –"), ",")
		}
	}
	return all
}

func signed(v record.Number, decimals int) string {
	if !v.Known() {
		return "–"
	}
	return strings.Replace(fmt.Sprintf("%+.*f", decimals, float64(v)), "-", "−", 1)
}

// batchList reads numbers by commas.
func batchList(s string) ([]uint64, error) {
	var ids []uint64
	for part := range strings.SplitSeq(s, ",") {
		id, err := strconv.ParseUint(strings.TrimSpace(part), 10, 64)
		if err != nil || id == 0 {
			return nil, exitError{codeInput, fmt.Errorf("--compare %q: give the numbers of batches by commas, such as 41,38,39", s)}
		}
		ids = append(ids, id)
	}
	return ids, nil
}

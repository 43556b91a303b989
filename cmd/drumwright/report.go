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

	"github.com/spf13/cobra"

	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/io/report"
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
Batches that were broken off are listed and never averaged.`,
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
	var id uint64
	if len(args) == 1 {
		var err error
		if id, err = batchNumber(args[0]); err != nil {
			return err
		}
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

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/amend"
	"drumwright/control/identify"
	"drumwright/control/observe"
	"drumwright/io/journal"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

type fitOptions struct {
	journal string
	accept  bool
	asJSON  bool
}

func fitCommand() *cobra.Command {
	var o fitOptions
	c := &cobra.Command{
		Use:   "fit MACHINE [BATCH...]",
		Short: "Fit the figures of heaters, drum, bed and probe to recorded batches, show how sure they are, keep them on your word",
		Long: `fit works out, from batches in the journal and the warming before them, the
figures that estimator, loops and preflight take from the machine file: how much
of the heater's power the air gets, how air and drum heat the beans, what the
drum stores and loses, how the bean probe lags. It shows how sure each is, what
is left over, and which figures the data cannot tell apart. Nothing is written
before you say so; what stood there before is kept.

BATCH is the number of a batch; without any the last five that were finished.
Two or three that were weighed, and one that began with a cold machine, tell
most. Weigh the green coffee: the model cannot tell more mass from less heat.
A flow meter that reads too high looks like a heater that gives too little.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			var ids []uint64
			for _, a := range args[1:] {
				id, err := strconv.ParseUint(a, 10, 63)
				if err != nil || id == 0 {
					return exitError{codeInput, fmt.Errorf("batch %q: give the number of a batch in the journal", a)}
				}
				ids = append(ids, id)
			}
			return runFit(cmd.Context(), args[0], ids, &o, cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
	f := c.Flags()
	f.StringVar(&o.journal, "journal", "", "the journal; default that of the machine file")
	f.BoolVar(&o.accept, "accept", false, "keep the proposed figures without asking")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object; keeps nothing unless --accept is given")
	return c
}

// usualBatches are taken if none is named.
const usualBatches = 5

// warmingS before a charge is looked at.
const warmingS = 3600

func runFit(ctx context.Context, name string, ids []uint64, o *fitOptions, stdin io.Reader, stdout io.Writer) error {
	m, err := machineFrom(name)
	if err != nil {
		return err
	}
	path := o.journal
	if path == "" {
		path = m.Telemetry.Journal
	}
	j, err := journal.OpenReader(path)
	if err != nil {
		return err
	}
	defer j.Close()
	if len(ids) == 0 {
		if ids, err = lastDone(ctx, j); err != nil {
			return err
		}
	}
	var segments []identify.Segment
	for _, id := range ids {
		more, err := segmentsOf(ctx, j, m, id)
		if err != nil {
			return fmt.Errorf("batch %d of %s: %w", id, path, err)
		}
		segments = append(segments, more...)
	}
	r, err := identify.Fit(fitMachine(m), fitFigures(m), segments)
	if err != nil {
		return err
	}
	edits := figureEdits(&r)
	if o.asJSON {
		err = printFitJSON(stdout, m, &r, edits)
	} else {
		err = printFit(stdout, m, segments, &r, edits)
	}
	if err != nil || len(edits) == 0 || o.asJSON && !o.accept {
		return err
	}
	p := newTerminal(stdin, stdout)
	return keepEdits(ctx, m, edits, o.accept, &p)
}

func lastDone(ctx context.Context, j *journal.Reader) ([]uint64, error) {
	list, err := j.Batches(ctx, record.Search{Limit: 50})
	if err != nil {
		return nil, err
	}
	var ids []uint64
	for i := len(list) - 1; i >= 0; i-- {
		if list[i].Result == record.BatchDone {
			ids = append(ids, list[i].ID)
		}
	}
	if len(ids) == 0 {
		return nil, errors.New("the journal holds no finished batch")
	}
	return ids[max(0, len(ids)-usualBatches):], nil
}

// fitMachine is what stays as the file has it.
func fitMachine(m *profiles.Machine) identify.Machine {
	a, r := &m.Heaters.Air, &m.Heaters.Radiant
	return identify.Machine{NominalFlowKgPerS: float64(m.Air.Nominal) / 3600, ElementWPerK: float64(a.ElementWPK), DuctLagS: float64(a.DuctLagS),
		InletLagS: float64(a.ProbeLagS), PanelRadM2: r.AreaM2 * r.Emissivity, PanelWPerK: float64(r.PanelWPK), Kinetics: observe.DefaultParams().Kinetics}
}

// fitFigures are the figures to begin with.
func fitFigures(m *profiles.Machine) identify.Figures {
	b := &m.Bed
	return identify.Figures{identify.Efficiency: float64(m.Heaters.Air.Efficiency), identify.ElementHeat: float64(m.Heaters.Air.ElementJPK),
		identify.PanelHeat: float64(m.Heaters.Radiant.PanelJPK), identify.GasToBeans: float64(b.GasToBeans), identify.DrumToBeans: float64(b.DrumToBeans),
		identify.GasToDrum: float64(b.GasToDrum), identify.DrumHeat: float64(b.DrumHeat), identify.DrumLoss: float64(b.DrumLoss),
		identify.ProbeLag: float64(b.ProbeLagS), identify.GasShare: float64(b.GasShare)}
}

// segmentsOf makes a roast, and the warming before it if there is enough of it,
// from a batch in the journal.
func segmentsOf(ctx context.Context, j *journal.Reader, m *profiles.Machine, id uint64) ([]identify.Segment, error) {
	b, err := j.Batch(ctx, id)
	if err != nil {
		return nil, err
	}
	before, err := j.Before(ctx, id, warmingS)
	if err != nil {
		return nil, err
	}
	roast := identify.Segment{Name: fmt.Sprintf("batch %d", id), GreenKg: float64(b.GreenKg), Moisture: usualMoisture}
	if !b.GreenKg.Known() || !(b.GreenKg > 0) {
		return nil, errors.New("its green mass is not known")
	}
	if r, err := profiles.ParseRecipe(b.Recipe, []byte(b.RecipeText)); err == nil && r.Charge.Moisture > 0 {
		roast.Moisture = float64(r.Charge.Moisture)
	}
	for i := range b.Samples {
		if s := &b.Samples[i]; s.State == "charging" || s.State == "roasting" {
			roast.Samples = append(roast.Samples, fitSample(m, s))
		}
	}
	var list []identify.Segment
	empty := identify.Segment{Name: fmt.Sprintf("empty before batch %d", id)}
	for i := range before {
		s := &before[i]
		x := fitSample(m, s)
		switch s.State {
		case "warming", "ready", "cooling":
			if x.FlowKgPerS > 0.3*float64(m.Air.Nominal)/3600 && !math.IsNaN(x.InletC) && !math.IsNaN(x.SkinC) {
				empty.Samples = append(empty.Samples, x)
				continue
			}
		}
		empty.Samples = empty.Samples[:0] // begin anew behind a gap
	}
	if n := len(empty.Samples); n > 0 && empty.Samples[n-1].AtS-empty.Samples[0].AtS >= leastEmptyS {
		list = append(list, empty)
	}
	return append(list, roast), nil
}

const (
	usualMoisture = 0.11  // of green coffee, wet basis (common practice, no source)
	leastEmptyS   = 120.0 // of an empty drum that are worth looking at
	usualRoomC    = 25.0  // without an ambient probe
)

func fitSample(m *profiles.Machine, s *record.KeptSample) identify.Sample {
	at := func(i point.Input) float64 {
		if t, ok := s.Temperatures[i.String()]; ok && t.Value.Known() {
			return float64(t.Value)
		}
		return math.NaN()
	}
	x := identify.Sample{AtS: float64(s.ScanS), AirW: heaterW(m, s, point.AirHeaterPower), RadiantW: heaterW(m, s, point.RadiantPower), FlowKgPerS: float64(s.FlowKgPerH) / 3600,
		RoomC: at(point.Ambient), InletC: at(point.InletAir), SkinC: at(point.DrumSkin), ExhaustC: at(point.Exhaust), BeanC: at(point.Bean)}
	if math.IsNaN(x.RoomC) {
		x.RoomC = usualRoomC
	}
	return x
}

// heaterW is the power of a heater in a sample. One that is switched on and off
// in windows is taken at the share that was asked for.
func heaterW(m *profiles.Machine, s *record.KeptSample, o point.Output) float64 {
	share, asked, rated := s.AirPermit, s.AirDuty, float64(m.Heaters.Air.PowerW)
	if o == point.RadiantPower {
		share, asked, rated = s.BasePermit, s.BaseDuty, float64(m.Heaters.Radiant.PowerW)
	}
	if m.Cycle[o].PeriodS > 0 {
		share = asked
	}
	if !s.HeatPermitted || !share.Known() {
		return 0
	}
	if s.MainsV.Known() && s.MainsV > 0 {
		ratio := float64(s.MainsV) / float64(m.Heaters.RatedV)
		rated *= ratio * ratio
	}
	return float64(share) * rated
}

// figureEdits are the changes of the machine file worth making.
func figureEdits(r *identify.Result) []amend.Edit {
	var edits []amend.Edit
	for _, d := range r.Findings {
		if d.Change {
			edits = append(edits, amend.Edit{Path: d.Figure.Key(), Value: fittedText(d.Figure, d.Fitted) + " " + d.Figure.Unit()})
		}
	}
	return edits
}

func fittedText(f identify.Figure, v float64) string {
	if f.Share() {
		return strconv.FormatFloat(math.Round(1000*v)/10, 'f', -1, 64)
	}
	digits := 3 - int(math.Floor(math.Log10(v))) - 1
	p := math.Pow(10, float64(digits))
	return strconv.FormatFloat(math.Round(v*p)/p, 'f', -1, 64)
}

func printFit(w io.Writer, m *profiles.Machine, segments []identify.Segment, r *identify.Result, edits []amend.Edit) error {
	names := make([]string, len(segments))
	for i := range segments {
		names[i] = segments[i].Name
	}
	fmt.Fprintf(w, "Machine %s, fitted to %s.\n\n", m.About.Name, strings.Join(names, ", "))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  figure\tfile\tfitted\t\tverdict")
	for _, d := range r.Findings {
		verdict := "the data do not tell it"
		switch {
		case d.Change:
			verdict = "to be changed"
		case d.Told:
			verdict = "right as it is"
		}
		sd := d.Sd
		if d.Figure.Share() {
			sd *= 100
		}
		fmt.Fprintf(t, "  %s\t%s %s\t%s\t±%.2g\t%s\n", d.Figure.Name(), fittedText(d.Figure, d.File), d.Figure.Unit(), fittedText(d.Figure, d.Fitted), 2*sd, verdict)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\n  ± is twice the standard deviation, with what a model as simple as this leaves out counted in.")
	for _, p := range r.Pairs {
		fmt.Fprintf(w, "  Not to be told apart: %s and %s (correlation %+.2f).\n", p.A.Name(), p.B.Name(), p.Correlation)
	}
	for _, open := range r.Open {
		var list []string
		for _, f := range open {
			list = append(list, f.Name())
		}
		fmt.Fprintf(w, "  Left open by the data: %s.\n", strings.Join(list, " with "))
	}
	fmt.Fprintln(w)
	t = tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "  left over\treading\tK before\tK now\tbias K\treadings")
	for _, l := range r.Left {
		fmt.Fprintf(t, "  %s\t%s\t%.2f\t%.2f\t%+.2f\t%d\n", l.Segment, l.Channel, l.RMSBefore, l.RMSK, l.BiasK, l.Samples)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if len(edits) == 0 {
		fmt.Fprintln(w, "\nNo figure of the file needs a change.")
		return nil
	}
	fmt.Fprintln(w, "\nFor the machine file:")
	fmt.Fprintln(w)
	printEdits(w, edits)
	fmt.Fprintln(w)
	return nil
}

func printFitJSON(w io.Writer, m *profiles.Machine, r *identify.Result, edits []amend.Edit) error {
	type figure struct {
		Key    string  `json:"key"`
		File   float64 `json:"file"` // SI; shares of 1
		Fitted float64 `json:"fitted"`
		Sd     float64 `json:"sd"`
		Told   bool    `json:"told"`
		Change bool    `json:"change"`
	}
	type pair struct {
		A           string  `json:"a"`
		B           string  `json:"b"`
		Correlation float64 `json:"correlation"`
	}
	type left struct {
		Segment   string  `json:"segment"`
		Reading   string  `json:"reading"`
		RMSBefore float64 `json:"rms_before_k"`
		RMS       float64 `json:"rms_k"`
		Bias      float64 `json:"bias_k"`
		Readings  int     `json:"readings"`
	}
	figures, pairs, rest, open := []figure{}, []pair{}, []left{}, [][]string{}
	for _, d := range r.Findings {
		figures = append(figures, figure{d.Figure.Key(), d.File, d.Fitted, d.Sd, d.Told, d.Change})
	}
	for _, p := range r.Pairs {
		pairs = append(pairs, pair{p.A.Key(), p.B.Key(), p.Correlation})
	}
	for _, o := range r.Open {
		var keys []string
		for _, f := range o {
			keys = append(keys, f.Key())
		}
		open = append(open, keys)
	}
	for _, l := range r.Left {
		rest = append(rest, left{l.Segment, l.Channel, l.RMSBefore, l.RMSK, l.BiasK, l.Samples})
	}
	var fragment strings.Builder
	printEdits(&fragment, edits)
	return printJSON(w, map[string]any{"machine": m.About.Name, "figures": figures, "not_told_apart": pairs, "open": open, "left": rest, "fragment": fragment.String()})
}

package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"drumwright/io/drift"
	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/io/report"
	"drumwright/profiles"
)

// judgedBy is from how many batches of the recipe the usual ranges are made.
const judgedBy = 20

// probeSettlesS is for how long after the turn the probe says little of the beans.
const probeSettlesS = 60

func reportBatch(ctx context.Context, r *journal.Reader, id uint64, w io.Writer) error {
	d, err := r.Batch(ctx, id)
	if err != nil {
		return fmt.Errorf("batch %d: %w", id, err)
	}
	before, err := r.Batches(ctx, record.Search{Before: id, Recipe: d.Recipe, Result: record.BatchDone, Limit: judgedBy})
	if err != nil {
		return err
	}
	calibrated, err := r.Commissioned(ctx)
	if err != nil {
		return err
	}
	m, _ := profiles.ParseMachine("machine.yaml", []byte(d.MachineText)) // nil if the journal never had it
	return report.WriteSheet(w, batchSheet(&d, oldestFirst(before), m, calibrated))
}

// batchSheet lays out what is kept of a batch.
func batchSheet(d *record.KeptDetail, before []*record.KeptBatch, m *profiles.Machine, calibrated []record.Commissioned) *report.Sheet {
	s := &report.Sheet{Title: fmt.Sprintf("Batch %d", d.ID), Samples: roast(d), SettledS: math.NaN(), Notes: enteredText(d)}
	about := []string{localTime(d.Charged), d.Recipe}
	if d.Lot != "" {
		about = append(about, d.Lot)
	}
	about = append(about, fmt.Sprintf("%s g", num(1000*d.ChargedKg(), 0)))
	if m != nil {
		about = append(about, m.About.Name)
	}
	s.About = strings.Join(about, " · ")
	s.Result = batchResult(d)
	s.Judged = judge(d, before)
	if s.JudgedBy = fmt.Sprintf("last %d batches of this recipe", len(before)); len(before) < drift.LeastBase {
		s.JudgedBy = fmt.Sprintf("%d of the %d earlier batches of this recipe that it takes", len(before), drift.LeastBase)
	}
	if d.TurnS.Known() {
		s.SettledS = float64(d.TurnS) + probeSettlesS
	}
	s.Marks = []report.Mark{{S: float64(d.TurnS), Name: "turn"}, {S: float64(d.FirstCrackS), Name: "first crack"}, {S: float64(d.DropS), Name: "drop"}}
	s.Stages = stageRows(d, s.Samples, m)
	s.Events = eventLine(d)
	if d.CupTotal.Known() {
		s.Notes = append(s.Notes, fmt.Sprintf("Cup %s of 100.", num(d.CupTotal, 2)))
	}
	s.Foot = []string{"recipe file " + hashText(d.RecipeHash), "machine file " + hashText(d.MachineHash) + " (SHA-256)", probeText(d, calibrated), keptText(d), "printed " + time.Now().Format("2006-01-02 15:04")}
	return s
}

// batchResult is what became of a batch in one sentence; a trip comes first.
func batchResult(d *record.KeptDetail) string {
	for i := range d.Events {
		if e := &d.Events[i]; e.Kind == record.Trip.String() {
			return "Tripped: " + strings.TrimRight(e.Text, ".") + "."
		}
	}
	switch d.Result {
	case record.BatchOpen:
		return "Still running."
	case record.BatchAborted:
		return "Broken off, never averaged."
	}
	text := "Dropped"
	if off := float64(d.DropC - d.TargetDropC); !math.IsNaN(off) {
		switch {
		case math.Abs(off) <= 1.5:
			text = "On target: dropped"
		case off > 0:
			text = "Above target: dropped"
		default:
			text = "Below target: dropped"
		}
		text += fmt.Sprintf(" at %s °C (target %s)", num(d.DropC, 1), num(d.TargetDropC, 1))
	}
	text += " after " + clockText(d.DropS)
	if v, weighed := d.LossShare(); v.Known() {
		text += fmt.Sprintf("; loss %s %%", num(100*v, 1))
		if !weighed {
			text += ", estimated"
		}
	}
	return text + ". No trip."
}

// judge holds the figures of a batch against those before it.
func judge(d *record.KeptDetail, before []*record.KeptBatch) []report.Judged {
	estimate := fmt.Sprintf("%s %%", num(100*d.LossAtDrop, 1))
	if sd := lossSdAtDrop(d); !math.IsNaN(sd) {
		estimate = fmt.Sprintf("%s %% ±%.1f", num(100*d.LossAtDrop, 1), 200*sd)
	}
	weighed := "not weighed"
	if d.WeighedLoss.Known() {
		weighed = fmt.Sprintf("%s %%", num(100*d.WeighedLoss, 1))
	}
	heard := "not heard"
	if d.FirstCrackS.Known() {
		heard = clockText(d.FirstCrackS)
	}
	var all []report.Judged
	for _, f := range []struct {
		name, value string
		least       float64 // half a range that is a matter of the last digit only
		of          func(k *record.KeptBatch) record.Number
	}{
		{"Drop temperature", num(d.DropC, 1) + " °C", 0.3, func(k *record.KeptBatch) record.Number { return k.DropC }},
		{"Total time", clockText(d.DropS), 3, func(k *record.KeptBatch) record.Number { return k.DropS }},
		{"Loss, weighed", weighed, 0.001, func(k *record.KeptBatch) record.Number { return k.WeighedLoss }},
		{"Loss, estimate at drop", estimate, 0.001, func(k *record.KeptBatch) record.Number { return k.LossAtDrop }},
		{"First crack", heard, 3, func(k *record.KeptBatch) record.Number { return k.FirstCrackS }},
		{"Distance from target", num(d.OffCurveRmsC, 1) + " °C rms, " + num(d.OffCurveMostC, 1) + " °C most", 0.1, func(k *record.KeptBatch) record.Number { return k.OffCurveRmsC }},
		{"Energy", num(d.EnergyKWh/d.ChargedKg(), 2) + " kWh/kg", 0.02, func(k *record.KeptBatch) record.Number { return k.EnergyKWh / k.ChargedKg() }},
	} {
		j := report.Judged{Name: f.name, Value: f.value, At: float64(f.of(&d.KeptBatch)), Lower: math.NaN(), Upper: math.NaN(), Least: f.least}
		if centre, sigma, ok := drift.Limits(valuesOf(before, func(k *record.KeptBatch) float64 { return float64(f.of(k)) })); ok {
			half := max(drift.Sigmas*sigma, f.least)
			j.Lower, j.Upper = centre-half, centre+half
		}
		all = append(all, j)
	}
	return all
}

func lossSdAtDrop(d *record.KeptDetail) float64 {
	sd := math.NaN()
	for i := range d.Samples {
		if k := &d.Samples[i]; k.SinceChargeS <= d.DropS && k.LossSd.Known() {
			sd = float64(k.LossSd)
		}
	}
	return sd
}

// colourC is the probe's temperature at which drying is taken to be over
// (common practice, no source).
const colourC = 160

// stageRows divides a roast into drying, colouring and development.
func stageRows(d *record.KeptDetail, all []report.Sample, m *profiles.Machine) []report.StageRow {
	if len(all) < 2 || !d.DropS.Known() {
		return nil
	}
	drop, turn := float64(d.DropS), float64(d.TurnS)
	colour := math.NaN()
	for i := range all {
		if all[i].S > turn && all[i].ProbeC >= colourC {
			colour = all[i].S
			break
		}
	}
	type part struct {
		name, until string
		from, to    float64
	}
	var parts []part
	from := 0.0
	add := func(name, until string, to float64) {
		if to > from {
			parts = append(parts, part{name, until, from, to})
			from = to
		}
	}
	if !math.IsNaN(colour) && colour < drop {
		add("drying", fmt.Sprintf("%d °C", colourC), colour)
	}
	if d.FirstCrackS.Known() {
		add("colouring", "first crack", float64(d.FirstCrackS))
		add("development", "drop", drop)
	} else {
		add("colouring", "drop; first crack not heard", drop)
	}
	rows := make([]report.StageRow, len(parts))
	for i, p := range parts {
		r := report.StageRow{Name: p.name, Until: p.until, Time: clockText(record.Number(p.to - p.from)), Share: fmt.Sprintf("%.0f %%", 100*(p.to-p.from)/drop), Rise: "–", Loss: "–", Drum: "–", Energy: "–"}
		begin := p.from
		if i == 0 && !math.IsNaN(turn) {
			begin = turn // before it the probe cools
		}
		a, b := sampleAt(all, begin), sampleAt(all, p.to)
		if a != nil && b != nil {
			if rise := 60 * (b.ProbeC - a.ProbeC) / (b.S - a.S); !math.IsNaN(rise) && !math.IsInf(rise, 0) {
				r.Rise = fmt.Sprintf("%.1f", rise)
			}
		}
		if b != nil && !math.IsNaN(b.Loss) {
			r.Loss = fmt.Sprintf("%.1f %%", 100*b.Loss)
		}
		if a := sampleAt(all, p.from); a != nil && b != nil && !math.IsNaN(a.DrumMMPerS+b.DrumMMPerS) {
			r.Drum = fmt.Sprintf("%.0f–%.0f", a.DrumMMPerS, b.DrumMMPerS)
		}
		if m != nil {
			r.Energy = fmt.Sprintf("%.2f kWh", heatKWh(all, p.from, p.to, float64(m.Heaters.Air.PowerW), float64(m.Heaters.Radiant.PowerW)))
		}
		rows[i] = r
	}
	return rows
}

// sampleAt is the sample nearest to t, nil when none is within two seconds.
func sampleAt(all []report.Sample, t float64) *report.Sample {
	var best *report.Sample
	for i := range all {
		if off := math.Abs(all[i].S - t); off <= 2 && (best == nil || off < math.Abs(best.S-t)) {
			best = &all[i]
		}
	}
	return best
}

// heatKWh is what both heaters were given from one moment to another.
func heatKWh(all []report.Sample, from, to, airW, baseW float64) float64 {
	sum := 0.0
	for i := 1; i < len(all); i++ {
		if p := &all[i]; p.S > from && p.S <= to && !math.IsNaN(p.AirDuty+p.RadiantDuty) {
			sum += (p.AirDuty*airW + p.RadiantDuty*baseW) * (p.S - all[i-1].S)
		}
	}
	return sum / 3.6e6
}

// mostEvents is how many find room on the page.
const mostEvents = 24

// eventLine is what happened, in order of time.
func eventLine(d *record.KeptDetail) []string {
	type line struct {
		at   float64 // s since charge, NaN = not known
		text string
	}
	var all []line
	begin := math.NaN()
	for i := range d.Samples {
		if k := &d.Samples[i]; k.SinceChargeS.Known() {
			begin = float64(k.ScanS - k.SinceChargeS)
			break
		}
	}
	for i := range d.Events {
		e := &d.Events[i]
		at, text := float64(e.ScanS)-begin, strings.TrimRight(e.Text, ".")
		switch e.Kind {
		case record.Milestone.String():
			switch { // noticed a little after they are
			case e.Name == record.MilestoneTurningPoint && d.TurnS.Known():
				at = float64(d.TurnS)
			case e.Name == record.MilestoneDrop && d.DropS.Known():
				at = float64(d.DropS)
			}
		case record.Trip.String():
			text = "trip: " + text
		case record.Warning.String():
			text = "alarm: " + text
		case record.Acknowledged.String():
			text = "acknowledged: " + text
		default:
			continue
		}
		if !math.IsNaN(at) && at > -1 {
			text = clockText(record.Number(max(at, 0))) + " " + text
		}
		all = append(all, line{at, text})
	}
	slices.SortStableFunc(all, func(a, b line) int { return cmp.Compare(a.at, b.at) }) // what is noticed late is told where it was
	out := make([]string, len(all))
	for i := range all {
		out[i] = all[i].text
	}
	if more := len(out) - mostEvents; more > 0 {
		out = append(out[:mostEvents], fmt.Sprintf("and %d more: drumwright batches show %d", more, d.ID))
	}
	return out
}

// probeText says how sure the bean probe is, by its last comparison before the
// batch.
func probeText(d *record.KeptDetail, list []record.Commissioned) string {
	charged, err := time.Parse(time.RFC3339Nano, d.Charged)
	text := "bean probe not calibrated"
	for i := range list {
		c := &list[i]
		if err == nil && c.Kind == record.KindCalibration && c.Item == "bean" && c.Result == record.ProofPass && c.When.Before(charged) {
			text = "bean probe calibrated " + c.When.Local().Format(time.DateOnly)
			if c.Uncertainty.Known() {
				text += fmt.Sprintf(", ±%s %s", num(c.Uncertainty, 1), c.Unit)
			}
		}
	}
	return text
}

// keptText says how much of the batch is in the journal.
func keptText(d *record.KeptDetail) string {
	if len(d.Samples) == 0 {
		return "samples no longer in the journal: a backup has them"
	}
	gaps := 0
	for i := 1; i < len(d.Samples); i++ {
		if d.Samples[i].ScanS-d.Samples[i-1].ScanS > 2.5 {
			gaps++
		}
	}
	return fmt.Sprintf("%d samples kept, %d gaps", len(d.Samples), gaps)
}

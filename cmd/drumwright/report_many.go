package main

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"drumwright/io/drift"
	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/io/report"
)

// figureOf is a figure that batches are held against one another by.
type figureOf struct {
	name, unit string
	decimals   int
	of         func(k *record.KeptBatch) float64
	drifts     bool // shown as a control chart
	ofRecipe   bool // depends on the recipe: charted against the recipe's middle
}

var comparedFigures = []figureOf{
	{"drop − target", "°C", 1, func(k *record.KeptBatch) float64 { return float64(k.DropC - k.TargetDropC) }, true, false},
	{"off the curve, rms", "°C", 2, func(k *record.KeptBatch) float64 { return float64(k.OffCurveRmsC) }, true, false},
	{"turning point", "°C", 1, func(k *record.KeptBatch) float64 { return float64(k.TurnC) }, false, true},
	{"first crack", "s", 0, func(k *record.KeptBatch) float64 { return float64(k.FirstCrackS) }, false, true},
	{"drop", "s", 0, func(k *record.KeptBatch) float64 { return float64(k.DropS) }, true, true},
	{"after first crack", "%", 1, func(k *record.KeptBatch) float64 { return 100 * float64(k.DevelopmentRatio) }, false, true},
	{"loss", "%", 1, func(k *record.KeptBatch) float64 { v, _ := k.LossShare(); return 100 * float64(v) }, true, true},
	{"heat", "kWh/kg", 2, func(k *record.KeptBatch) float64 { return float64(k.EnergyKWh / k.ChargedKg()) }, true, true},
}

// fewestCompared and mostCompared are what fits on a page.
const fewestCompared, mostCompared = 2, 12

func reportComparison(ctx context.Context, r *journal.Reader, list, at string, w io.Writer) error {
	ids, err := batchList(list)
	if err != nil {
		return err
	}
	slices.Sort(ids[1:])
	if len(ids) < fewestCompared || len(ids) > mostCompared || len(slices.Compact(slices.Sorted(slices.Values(ids)))) != len(ids) {
		return exitError{codeInput, fmt.Errorf("--compare %q: give 2 to 12 different batches", list)}
	}
	if at != "charge" && at != "first-crack" {
		return exitError{codeInput, fmt.Errorf("--at %q: allowed are charge and first-crack", at)}
	}
	var all []record.KeptDetail
	for _, id := range ids {
		d, err := r.Batch(ctx, id)
		if err != nil {
			return fmt.Errorf("batch %d: %w", id, err)
		}
		if at == "first-crack" && !d.FirstCrackS.Known() {
			return exitError{codeInput, fmt.Errorf("batch %d has no first crack: line the batches up --at charge", id)}
		}
		all = append(all, d)
	}
	o := report.Overview{Title: fmt.Sprintf("Batch %d against %d others", ids[0], len(ids)-1), LanesFrom: strings.ReplaceAll(at, "-", " "),
		About: "printed " + time.Now().Format("2006-01-02 15:04")}
	rows := make([]*record.KeptBatch, len(all))
	for i := range all {
		rows[i] = &all[i].KeptBatch
	}
	o.Result = oddOne(rows)
	o.Table = batchTable(rows)
	for _, f := range comparedFigures {
		o.Rows = append(o.Rows, report.DotRow{Name: f.name, Unit: f.unit, Decimals: f.decimals, Values: valuesOf(rows, f.of), Chosen: 0})
	}
	o.Lanes = comparedLanes(all, at == "first-crack")
	o.Remarks = differences(rows)
	return report.WriteOverview(w, &o)
}

func valuesOf(list []*record.KeptBatch, of func(*record.KeptBatch) float64) []float64 {
	v := make([]float64, len(list))
	for i, k := range list {
		v[i] = of(k)
	}
	return v
}

// oddOne says how alike batches are, and where the first stands out most,
// measured by the spread of the others.
func oddOne(rows []*record.KeptBatch) string {
	worst, text := -1.0, ""
	for _, f := range comparedFigures {
		v := valuesOf(rows, f.of)
		q := report.Quartiles(v[1:])
		half := max((q[3]-q[1])/2, math.Pow10(-f.decimals))
		if off := math.Abs(v[0]-q[2]) / half; off > worst {
			worst = off
			text = fmt.Sprintf("%s: %s %s, the others' middle is %s %s", f.name, signless(v[0], f.decimals), f.unit, signless(q[2], f.decimals), f.unit)
		}
	}
	switch {
	case text == "":
		return "Too little is known of these batches to compare them."
	case worst <= 2:
		return fmt.Sprintf("Batch %d is like the others. It differs most in %s.", rows[0].ID, text)
	}
	return fmt.Sprintf("Batch %d stands out in %s.", rows[0].ID, text)
}

func signless(v float64, decimals int) string { return num(record.Number(v), decimals) }

func batchTable(rows []*record.KeptBatch) report.Table {
	t := report.Table{Head: []string{"batch", "charged", "recipe", "green coffee", "green kg", "roasted kg", "loss", "first crack", "drop", "kWh", "cup", "result"}}
	for _, k := range rows {
		t.Rows = append(t.Rows, []string{strconv.FormatUint(k.ID, 10), localTime(k.Charged), short(k.Recipe, 18), short(orDash(k.Lot), 18), num(k.ChargedKg(), 2), num(k.WeighedKg, 3), lossText(k),
			clockText(k.FirstCrackS), clockText(k.DropS) + " " + num(k.DropC, 1) + " °C", num(k.EnergyKWh, 2), num(k.CupTotal, 1), k.Result})
	}
	return t
}

// differences says what else differs between the batches.
func differences(rows []*record.KeptBatch) []string {
	var out []string
	for _, x := range []struct {
		name string
		of   func(k *record.KeptBatch) string
	}{{"recipe file", func(k *record.KeptBatch) string { return k.RecipeHash }}, {"machine file", func(k *record.KeptBatch) string { return k.MachineHash }},
		{"green coffee", func(k *record.KeptBatch) string { return k.Lot }}, {"green mass", func(k *record.KeptBatch) string { return num(k.ChargedKg(), 2) }},
		{"moisture", func(k *record.KeptBatch) string { return num(k.MoisturePct, 1) }}} {
		var other []string
		for _, k := range rows[1:] {
			if x.of(k) != x.of(rows[0]) {
				other = append(other, strconv.FormatUint(k.ID, 10))
			}
		}
		if len(other) > 0 {
			out = append(out, fmt.Sprintf("Another %s than batch %d: %s.", x.name, rows[0].ID, strings.Join(other, ", ")))
		}
	}
	if len(out) == 0 {
		out = append(out, "Recipe, machine file, green coffee and mass are the same in all.")
	}
	return out
}

// laneStepS is the time between two moments of a lane, s.
const laneStepS = 2

func comparedLanes(all []record.KeptDetail, atCrack bool) []report.Lane {
	type lane struct {
		title         string
		height, limit float64
		of            func(s *report.Sample) float64
	}
	samples := make([][]report.Sample, len(all))
	from, to := math.Inf(1), math.Inf(-1)
	for i := range all {
		samples[i] = roast(&all[i])
		for j := range samples[i] {
			if atCrack {
				samples[i][j].S -= float64(all[i].FirstCrackS)
			}
			from, to = min(from, samples[i][j].S), max(to, samples[i][j].S)
		}
	}
	if from >= to {
		return nil
	}
	var moments []float64
	for s := math.Ceil(from/laneStepS) * laneStepS; s <= to; s += laneStepS {
		moments = append(moments, s)
	}
	var out []report.Lane
	for _, l := range []lane{
		{"Bean probe against the others' middle, ±8 °C", 90, 8, func(s *report.Sample) float64 { return s.ProbeC }},
		{"Rate of rise against it, ±4 °C/min", 75, 4, func(s *report.Sample) float64 { return s.RateKPerMin }},
		{"Inlet air against it, ±20 °C", 75, 20, func(s *report.Sample) float64 { return s.InletC }},
		{"Loss, estimated, against it, ±2 points", 65, 2, func(s *report.Sample) float64 { return 100 * s.Loss }},
	} {
		n := len(moments)
		r := report.Lane{Title: l.title, Height: l.height, Range: l.limit, S: moments, Low: make([]float64, n), Q1: make([]float64, n), Q3: make([]float64, n),
			High: make([]float64, n), Pick: make([]float64, n)}
		for i, s := range moments {
			var others []float64
			for j := range samples {
				v := nearest(samples[j], s, l.of)
				if j == 0 {
					r.Pick[i] = v
				} else {
					others = append(others, v)
				}
			}
			q := report.Quartiles(others)
			r.Low[i], r.Q1[i], r.Q3[i], r.High[i] = q[0]-q[2], q[1]-q[2], q[3]-q[2], q[4]-q[2]
			r.Pick[i] -= q[2]
		}
		out = append(out, r)
	}
	return out
}

// nearest is the value of the sample nearest to s, not further off than a step.
func nearest(list []report.Sample, s float64, of func(*report.Sample) float64) float64 {
	i, _ := slices.BinarySearchFunc(list, s, func(x report.Sample, s float64) int { return cmp.Compare(x.S, s) })
	best, off := math.NaN(), float64(laneStepS)
	for _, j := range []int{i - 1, i} {
		if j >= 0 && j < len(list) && math.Abs(list[j].S-s) < off {
			best, off = of(&list[j]), math.Abs(list[j].S-s)
		}
	}
	return best
}

func reportLot(ctx context.Context, r *journal.Reader, lot string, w io.Writer) error {
	list, err := r.Batches(ctx, record.Search{Lot: lot})
	if err != nil {
		return err
	}
	if len(list) == 0 {
		return fmt.Errorf("no batch carries the lot %q (%w): batches --text finds parts of names, batches set BATCH lot=NAME enters one", lot, record.ErrNoBatch)
	}
	rows := oldestFirst(list)
	o := summary("Green coffee "+rows[0].Lot, rows, nil)
	o.Table = batchTable(tail(rows, 20))
	if len(rows) > 20 {
		o.Remarks = append(o.Remarks, fmt.Sprintf("The table shows the last 20 of %d batches.", len(rows)))
	}
	return report.WriteOverview(w, o)
}

// baseBatches is from how many batches before a month the limits are made.
const baseBatches = 40

func reportMonth(ctx context.Context, r *journal.Reader, month string, w io.Writer) error {
	from, err := time.ParseInLocation("2006-01", month, time.Local)
	if err != nil {
		return exitError{codeInput, fmt.Errorf("--month %q: write it as 2026-11", month)}
	}
	list, err := r.Batches(ctx, record.Search{From: from, To: from.AddDate(0, 1, 0)})
	if err != nil {
		return err
	}
	if len(list) == 0 {
		return fmt.Errorf("no batch was charged in %s: %w", from.Format("January 2006"), record.ErrNoBatch)
	}
	before, err := r.Batches(ctx, record.Search{To: from, Result: record.BatchDone, Limit: baseBatches})
	if err != nil {
		return err
	}
	rows := oldestFirst(list)
	o := summary(from.Format("January 2006"), rows, oldestFirst(before))
	o.Table = monthTable(rows)
	return report.WriteOverview(w, o)
}

func oldestFirst(list []record.KeptBatch) []*record.KeptBatch {
	rows := make([]*record.KeptBatch, len(list))
	for i := range list {
		rows[len(list)-1-i] = &list[i]
	}
	return rows
}

func tail(rows []*record.KeptBatch, n int) []*record.KeptBatch { return rows[max(0, len(rows)-n):] }

func batchCount(n int) string {
	if n == 1 {
		return "1 batch"
	}
	return fmt.Sprintf("%d batches", n)
}

// summary is what lots and months have in common. The limits of the charts are
// made from base or, when that is too little, from the batches themselves.
func summary(title string, rows, base []*record.KeptBatch) *report.Overview {
	o := &report.Overview{Title: title, About: fmt.Sprintf("%s, %s to %s, printed %s", batchCount(len(rows)), localTime(rows[0].Charged), localTime(rows[len(rows)-1].Charged),
		time.Now().Format("2006-01-02 15:04"))}
	var done []*record.KeptBatch
	var broken []string
	for _, k := range rows {
		switch k.Result {
		case record.BatchDone:
			done = append(done, k)
		case record.BatchAborted:
			broken = append(broken, strconv.FormatUint(k.ID, 10))
		}
	}
	if len(broken) > 0 {
		o.Remarks = append(o.Remarks, fmt.Sprintf("Broken off and not counted in: %s.", strings.Join(broken, ", ")))
	}
	unweighed := 0
	for _, k := range done {
		if !k.WeighedKg.Known() {
			unweighed++
		}
	}
	if unweighed > 0 {
		o.Remarks = append(o.Remarks, fmt.Sprintf("%d of %d batches were not weighed: their loss is an estimate.", unweighed, len(done)))
	}
	var moved []string
	for _, f := range comparedFigures {
		o.Rows = append(o.Rows, report.DotRow{Name: f.name, Unit: f.unit, Decimals: f.decimals, Values: valuesOf(done, f.of), Chosen: -1})
		if !f.drifts {
			continue
		}
		chart, warns := controlChart(f, done, base)
		o.Charts = append(o.Charts, chart)
		if warns {
			moved = append(moved, f.name)
		}
	}
	switch {
	case len(done) == 0:
		o.Result = "No batch was finished."
	case len(moved) > 0:
		o.Result = "More than chance has moved: " + strings.Join(moved, ", ") + ". See the charts."
	default:
		o.Result = batchCount(len(done)) + ", nothing that chance would not do."
		for _, c := range o.Charts {
			if c.NoLimits {
				o.Result = batchCount(len(done)) + "; too few for limits on every figure."
			}
		}
	}
	return o
}

// afterFar is for how many batches a value beyond its limit still shows in the
// mean: 0.7 to that power is below a tenth.
const afterFar = 7

func controlChart(f figureOf, rows, base []*record.KeptBatch) (report.ControlChart, bool) {
	c := report.ControlChart{Title: f.name + ", " + f.unit, Decimals: f.decimals}
	of := f.of
	if f.ofRecipe {
		c.Title = f.name + " against the middle of its recipe, " + f.unit
		middle := map[string]float64{}
		for _, k := range slices.Concat(base, rows) {
			if _, made := middle[k.Recipe]; made {
				continue
			}
			var same []float64
			for _, x := range slices.Concat(base, rows) {
				if x.Recipe == k.Recipe {
					same = append(same, f.of(x))
				}
			}
			middle[k.Recipe] = report.Quartiles(same)[2]
		}
		of = func(k *record.KeptBatch) float64 { return f.of(k) - middle[k.Recipe] }
	}
	for _, k := range rows {
		c.IDs = append(c.IDs, k.ID)
	}
	c.Values = valuesOf(rows, of)
	centre, sigma, ok := drift.Limits(valuesOf(base, of))
	c.Base = fmt.Sprintf("Limits from %d batches before.", len(base))
	if !ok {
		centre, sigma, ok = drift.Limits(c.Values)
		c.Base = "Limits from these batches themselves."
	}
	if !ok {
		c.NoLimits, c.Verdict, c.Base = true, "Too few batches for limits:", fmt.Sprintf("%d are needed.", drift.LeastBase)
		return c, false
	}
	// A figure that repeats to its last digit would have no room at all.
	sigma = max(sigma, math.Pow10(-f.decimals)/2)
	k := drift.New(c.Values, centre, sigma)
	c.Centre, c.Lower, c.Upper, c.MeanLower, c.MeanUpper, c.Mean = k.Centre, k.Lower, k.Upper, k.MeanLower, k.MeanUpper, k.Mean
	// One far value carries the mean out for a while; that is no drift.
	drifts := slices.IndexFunc(k.MeanOut, func(i int) bool {
		return !slices.ContainsFunc(k.Out, func(j int) bool { return j <= i && i < j+afterFar })
	})
	var far []string
	for _, i := range k.Out {
		far = append(far, strconv.FormatUint(c.IDs[i], 10))
	}
	switch {
	case drifts >= 0:
		c.Verdict = fmt.Sprintf("The mean has left its limits, first at batch %d: it drifts.", c.IDs[k.MeanOut[drifts]])
	case len(far) > 0:
		c.Verdict = "Beyond the limit of one batch: " + short(strings.Join(far, ", "), 60) + "."
	default:
		c.Verdict = "Within its limits."
	}
	return c, len(k.MeanOut)+len(k.Out) > 0
}

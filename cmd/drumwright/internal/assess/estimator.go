package assess

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Goals of the estimator, with what is told in brackets where it matters.
const (
	beanNominalC = 0.5  // rms (batch weighed, gas share calibrated)
	beanC        = 1.0  // rms over random mismatch (the same)
	beanNothingC = 1.5  // rms over random mismatch (nothing)
	lagOff       = 0.06 // share (batch weighed, gas share calibrated)
	lossMeasured = 0.5  // points (moisture to 0.3 points), nothing weighed
	lossWeighed  = 0.35 // points, after three weighed batches
	lossUnknown  = 1.0  // points (moisture not known), nothing weighed
	crackNearS   = 10.0
	crackShare   = 0.85
	coverageBy   = 0.10 // of the stated sds
	oneSd, twoSd = 0.68, 0.95
)

// Estimator studies coffees that are roasted, heard and weighed batch by batch: how
// far off each estimate is, and whether it is so by as much as it says.
func Estimator(ctx context.Context, sizes []Size) (*Study, error) {
	return estimator(ctx, sizes, coffeeSeed, coffeeCases)
}

func estimator(ctx context.Context, sizes []Size, seed uint64, cases int) (*Study, error) {
	var nominal []Cell
	for _, s := range sizes {
		for i := range curves {
			nominal = append(nominal, Cell{Size: s, Curve: &curves[i], Group: Nominal, Name: "nominal", Seed: 1, Told: &Knowledge{Mass: true, GasShare: true}})
		}
	}
	nominalC := make([]float64, len(nominal))
	st := &Study{Coffees: make([]*CoffeeRow, int(numberTold)*cases*len(sizes))}
	err := onAllCores(ctx, len(nominal)+len(st.Coffees), func(i int) (err error) {
		if i < len(nominal) {
			t, err := roast(&nominal[i], false, nil)
			if err == nil {
				nominalC[i] = t.coffeeBatch().BeanRmsC
			}
			return err
		}
		i -= len(nominal)
		n := int(numberTold)
		st.Coffees[i], err = coffee(sizes[i/n%len(sizes)], seed+uint64(i/n), told(i%n))
		return err
	})
	if err != nil {
		return nil, err
	}
	atMost := func(text, unit string, got, most float64) {
		st.Goals = append(st.Goals, Goal{Text: fmt.Sprintf("%s: at most %.4g %s", text, most, unit), Got: fmt.Sprintf("%.2f %s", got, unit), Kept: got <= most})
	}
	worst := 0.0
	for _, c := range nominalC {
		worst = math.Max(worst, c)
	}
	atMost("bean temperature, nominal, worst rms", "°C", worst, beanNominalC)
	var lag, near tally
	for what := range numberTold {
		for k := range what.batches() {
			var b struct{ loss, crack, bean, rate bands }
			for _, r := range st.Coffees {
				if r.told != what || len(r.Batches) <= k {
					continue
				}
				x := &r.Batches[k]
				b.loss.one(x.LossError, x.LossSd)
				b.bean.join(&x.bean)
				b.rate.join(&x.rate)
				if x.CrackKnown {
					b.crack.one(x.CrackOffS, x.CrackSdS)
				}
				if x.CrackKnown && k == coffeeBatches-1 {
					near.add(math.Abs(x.CrackOffS) <= crackNearS)
				}
				if what != nothing && k == 0 {
					lag.add(math.Abs(x.LagOff) <= lagOff)
				}
			}
			after := fmt.Sprintf("%s, %d weighed before", what, k)
			l, t := b.loss.of("loss at drop", after, "points", 100), b.bean.of("bean temperature", after, "K", 1)
			st.Bands = append(st.Bands, l, t, b.rate.of("rate of rise", after, "K/min", 60), b.crack.of("first crack a minute ahead", after, "s", 1))
			switch {
			case what == allTold && k == 0:
				atMost("bean temperature, batch weighed and gas share calibrated, rms", "°C", t.Rms, beanC)
				atMost("loss, moisture known to 0.3 points, rms", "points", l.Rms, lossMeasured)
			case what == allButWet && k == 0:
				atMost("loss, moisture not known to 2 points, rms", "points", l.Rms, lossUnknown)
			case what == nothing:
				atMost("bean temperature, nothing calibrated, rms", "°C", t.Rms, beanNothingC)
			case k == coffeeBatches-1:
				atMost("loss, "+what.String()+", three weighed batches, rms", "points", l.Rms, lossWeighed)
			}
		}
	}
	st.Goals = append(st.Goals, lag.goal(fmt.Sprintf("probe lag half a minute after the turn: within %.0f %%", 100*lagOff)),
		Goal{Text: fmt.Sprintf("first crack a minute ahead, after three batches: within %.0f s in %.0f %%", crackNearS, 100*crackShare),
			Got: fmt.Sprintf("%d of %d", near.ok, near.n), Kept: float64(near.ok) >= crackShare*float64(near.n)})
	st.Goals = append(st.Goals, honest(st.Bands)...)
	return st, nil
}

// honest holds the stated sds against what came true: a goal for each estimate.
func honest(all []Bands) (goals []Goal) {
	for _, first := range all {
		if slices.ContainsFunc(goals, func(g Goal) bool { return strings.HasPrefix(g.Text, first.What+":") }) {
			continue
		}
		var kept tally
		worst, off := "", 0.0
		for _, b := range all {
			if b.What != first.What {
				continue
			}
			by := math.Max(math.Abs(b.In68-oneSd), math.Abs(b.In95-twoSd))
			kept.add(by <= coverageBy)
			if by > off {
				off, worst = by, fmt.Sprintf("%.0f and %.0f %% (%s)", 100*b.In68, 100*b.In95, b.Told)
			}
		}
		goals = append(goals, Goal{
			Text: fmt.Sprintf("%s: within one stated sd in %.0f %% and within 1.96 in %.0f %%, by %.0f points", first.What, 100*oneSd, 100*twoSd, 100*coverageBy),
			Got:  fmt.Sprintf("%d of %d, worst %s", kept.ok, kept.n, worst), Kept: kept.ok == kept.n})
	}
	return goals
}

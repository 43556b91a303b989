package observe

import (
	"math"
	"testing"
)

// What the account says a wrong figure does to the estimates, against two filters
// that were told a little more and a little less of it and saw the same roast
// (central differences, not from the code under test).
func TestAccount(t *testing.T) {
	type tell struct {
		p            Params
		beanC, skinK float64
		inletLagS    float64
	}
	for _, c := range []struct {
		name   string
		source int
		by     float64
		change func(x *tell, by float64)
	}{
		{"dry-loss rate", OfDryLoss, 0.02, func(x *tell, by float64) { x.p.Kinetics.DryLossFactor *= math.Exp(by) }},
		{"drying rate", OfDrying, 0.02, func(x *tell, by float64) { x.p.Kinetics.DryingFactor *= math.Exp(by) }},
		{"green moisture", OfMoisture, 0.001, func(x *tell, by float64) { x.p.MoistureDB += by }},
		{"reaction heat", OfReaction, 0.02, func(x *tell, by float64) { x.p.Kinetics.ExothermFactor *= math.Exp(by) }},
		{"gas share", OfGasShare, 0.001, func(x *tell, by float64) { x.p.GasShare += by }},
		{"drum wall", OfSkin, 0.5, func(x *tell, by float64) { x.skinK += by }},
		{"inlet lag", OfInletLag, 0.1, func(x *tell, by float64) { x.inletLagS += by }},
		{"green weight", ofMass, 0.01, func(x *tell, by float64) { x.p.BatchKg *= math.Exp(by) }},
		{"heat multiplier", ofHeat, 0.01, func(x *tell, by float64) { x.p.LnHeat += by }},
		{"probe lag", ofTau, 0.01, func(x *tell, by float64) { x.p.LnTau += by }},
		{"beans at charge", ofBean, 0.2, func(x *tell, by float64) { x.beanC += by }},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := largeMachine()
			r := truth{p: p, beanC: 25, probeC: 203, x: p.MoistureDB, s: 1, heat: 1, tau: 30, gasShare: 0.10}
			var f [3]Filter // as told, more, less
			var lag [3]float64
			for i, by := range []float64{0, c.by, -c.by} {
				x := tell{p: p, beanC: 25}
				c.change(&x, by)
				if err := f[i].Start(x.p, x.beanC, true, 203); err != nil {
					t.Fatal(err)
				}
				lag[i] = x.inletLagS
			}
			was := math.NaN()
			for n := 1; n <= 6000; n++ {
				r.step(0.1)
				slope := 0.0
				if n > 1 {
					slope = (r.inletC - was) / 0.1
				}
				was = r.inletC
				skinK := 0.0
				for i := range f {
					if c.source == OfSkin {
						skinK = []float64{0, c.by, -c.by}[i]
					}
					f[i].Predict(r.inletC+lag[i]*slope, r.skinC+skinK, 0.011)
					f[i].Update(r.probeC)
				}
				if n != 800 && n != 3000 && n != 5000 && n != 6000 {
					continue
				}
				by := &f[0].account.by[c.source]
				e, more, less := f[0].Estimate(), f[1].Estimate(), f[2].Estimate()
				rate := f[0].account.rate[c.source]
				for k, g := range f[0].rateGrad {
					rate += g * by[k]
				}
				loss := 0.0
				if c.source < NLasting {
					loss = e.Weighing.LossBy[c.source]
				}
				for _, q := range []struct {
					name                  string
					more, less, want, tol float64
				}{
					{"bean temperature, K", more.BeanC, less.BeanC, by[iBean], 0.002 / c.by},
					{"logarithm of the lag", more.LnTau, less.LnTau, by[iLnTau], 2e-4 / c.by},
					{"moisture", more.MoistureDB, less.MoistureDB, by[iMoisture], 5e-6 / c.by},
					{"green moisture", more.GreenDB, less.GreenDB, by[iStart], 5e-6 / c.by},
					{"dry fraction", more.DryFraction, less.DryFraction, by[iDry], 2e-6 / c.by},
					{"rate, K/s", more.RateKPerS, less.RateKPerS, rate, 1e-4 / c.by},
					{"loss", more.LossFraction, less.LossFraction, loss, 5e-6 / c.by},
				} {
					if q.name == "loss" && c.source >= NLasting {
						continue
					}
					if got := (q.more - q.less) / (2 * c.by); math.Abs(got-q.want) > 0.06*math.Abs(got)+q.tol {
						t.Errorf("after %.0f s, %s by the error: %.5g, by the account %.5g", r.tS, q.name, got, q.want)
					}
				}
			}
		})
	}
}

// An sd is made of noise and of what every source does: the covariance is built up
// here source by source.
func TestStatedSd(t *testing.T) {
	f := midRoast(t)
	f.account.begin()
	for range 50 {
		f.Predict(250, 205, 0.011)
		f.Update(f.x[iProbe] + 0.05)
	}
	e := f.Estimate()
	sds := [nSources]float64{RateSd, RateSd, 0.0145, ReactionSd, 0.025, skinSdK, inletLagSd, massSd, f.p.LnHeatSd, f.p.LnTauSd, 2}
	for _, c := range []struct {
		name  string
		got   float64
		state int
	}{{"bean", e.BeanSdC, iBean}, {"moisture", e.MoistureSdDB, iMoisture}, {"lag", e.TauSdS / e.TauS, iLnTau}} {
		v := f.account.noise[c.state][c.state]
		for i, sd := range sds {
			v += math.Pow(sd*f.account.by[i][c.state], 2)
		}
		if want := math.Sqrt(v); !(math.Abs(c.got-want) <= 1e-9*want) || want == 0 {
			t.Errorf("sd of %s is %g, want %g", c.name, c.got, want)
		}
	}
	// What is known together counts together.
	f.p.Doubt[OfDryLoss][OfDrying], f.p.Doubt[OfDrying][OfDryLoss] = -RateSd*RateSd, -RateSd*RateSd
	by := e.Weighing.LossBy
	want := math.Sqrt(e.LossSd*e.LossSd - 2*RateSd*RateSd*by[OfDryLoss]*by[OfDrying])
	if got := f.Estimate().LossSd; math.Abs(got-want) > 1e-12 {
		t.Errorf("sd of the loss is %g with errors that go together, want %g", got, want)
	}
}

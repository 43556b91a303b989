package observe

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"drumwright/control/bean"
)

// The hand-derived Jacobian against central differences of the model step.
func TestJacobian(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		f := midRoast(t)
		f.p.StepS = rapid.SampledFrom([]float64{0.1, 0.5}).Draw(rt, "stepS")
		f.inletC = rapid.Float64Range(120, 340).Draw(rt, "inletC")
		f.skinC = rapid.Float64Range(150, 280).Draw(rt, "skinC")
		f.flowKgPerS = rapid.Float64Range(0.006, 0.016).Draw(rt, "flow")
		at := vector{
			iBean:     rapid.Float64Range(25, 230).Draw(rt, "beanC"),
			iProbe:    rapid.Float64Range(25, 230).Draw(rt, "probeC"),
			iMoisture: rapid.Float64Range(0.005, 0.14).Draw(rt, "x"),
			iDry:      rapid.Float64Range(0.88, 0.999).Draw(rt, "s"),
			iReaction: rapid.Float64Range(1, 200).Draw(rt, "he"),
			iLnTau:    rapid.Float64Range(-0.7, 0.6).Draw(rt, "lnTau"),
			iLnHeat:   rapid.Float64Range(-0.6, 0.6).Draw(rt, "lnHeat"),
			iDisturb:  rapid.Float64Range(-0.1, 0.1).Draw(rt, "d"),
			iStart:    0.12,
		}
		f.x = at
		j := f.advance()
		g := f.rateGrad
		h := f.p.StepS
		e := math.Exp(-h / (f.p.ProbeTauS * math.Exp(at[iLnTau])))
		delta := vector{1e-3, 1e-3, 1e-6, 1e-6, 1e-3, 1e-5, 1e-5, 1e-5, 1e-6}
		for c := range at {
			var up, down vector
			f.x = at
			f.x[c] += delta[c]
			f.advance()
			up = f.x
			f.x = at
			f.x[c] -= delta[c]
			f.advance()
			down = f.x
			for r := range at {
				want := (up[r] - down[r]) / (2 * delta[c])
				got := j[r][c]
				if r == iProbe && c != iDisturb {
					// The part the filter leaves out on purpose.
					got += (1 - e) * (1 - f.p.GasShare) * h / 2 * g[c]
				}
				if math.Abs(got-want) > 1e-7*(1+math.Abs(want)) {
					rt.Fatalf("J[%d][%d] = %.12g, central difference %.12g", r, c, got, want)
				}
			}
		}
	})
}

// Any sequence of readings, good, missing, absurd or infinite, must leave a
// finite state in its bounds and a usable covariance.
func TestInvariants(t *testing.T) {
	reading := func(lo, hi float64) *rapid.Generator[float64] {
		return rapid.Custom(func(t *rapid.T) float64 {
			switch rapid.IntRange(0, 11).Draw(t, "kind") {
			case 0:
				return rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300, -1e300}).Draw(t, "odd")
			case 1:
				return rapid.Float64Range(-90, 1900).Draw(t, "wild")
			default:
				return rapid.Float64Range(lo, hi).Draw(t, "plain")
			}
		})
	}
	rapid.Check(t, func(t *rapid.T) {
		p := largeMachine()
		p.StepS = rapid.SampledFrom([]float64{0.1, 0.5, 2}).Draw(t, "stepS")
		p.MoistureSdDB = rapid.SampledFrom([]float64{0.0145, 0.0025, 0.0005}).Draw(t, "moisture sd")
		p.LnTauSd = rapid.SampledFrom([]float64{0.30, 0.05}).Draw(t, "tau sd")
		p.LnHeatSd = rapid.SampledFrom([]float64{0.20, 0.05}).Draw(t, "heat sd")
		f := new(Filter)
		if err := f.Start(p, reading(0, 40).Draw(t, "ambientC"), rapid.Bool().Draw(t, "known"), reading(100, 220).Draw(t, "readingC")); err != nil {
			t.Fatal(err)
		}
		for n := rapid.IntRange(1, 120).Draw(t, "scans"); n > 0; n-- {
			f.Predict(reading(120, 340).Draw(t, "inletC"), reading(150, 280).Draw(t, "skinC"), reading(0, 0.02).Draw(t, "flow"))
			f.Update(reading(60, 230).Draw(t, "y"))
			cov, e := f.Covariance(), f.Estimate()
			for i := range cov {
				if !(cov[i][i] > 0 && cov[i][i] <= maxDiagonal) {
					t.Fatalf("P[%d][%d] = %g", i, i, cov[i][i])
				}
				for j := range cov {
					if cov[i][j] != cov[j][i] {
						t.Fatalf("P[%d][%d] = %g, P[%d][%d] = %g", i, j, cov[i][j], j, i, cov[j][i])
					}
					if lim := math.Sqrt(cov[i][i] * cov[j][j]); !(math.Abs(cov[i][j]) <= lim*(1+1e-6)+1e-12) {
						t.Fatalf("correlation of %d and %d is above one: %g of %g", i, j, cov[i][j], lim)
					}
				}
			}
			for name, ok := range map[string]bool{
				"bean":        finite(e.BeanC) && finite(e.BeanSdC) && e.BeanSdC > 0,
				"rate":        finite(e.RateKPerS) && finite(e.RateSdKPerS),
				"probe":       finite(e.ProbeC),
				"moisture":    e.MoistureDB >= 0 && e.MoistureDB <= moistureMax,
				"dry":         e.DryFraction >= bean.DryFractionMin && e.DryFraction <= 1,
				"reaction":    e.ReactionKJPerKg >= 0 && e.ReactionKJPerKg <= bean.ExothermTotalKJPerKg,
				"tau":         e.LnTau >= lnTauMin && e.LnTau <= lnTauMax && e.TauS > 0,
				"heat":        math.Abs(e.LnHeat) <= lnHeatMax && e.HeatFactor > 0,
				"disturbance": math.Abs(e.DisturbanceKPerS) <= disturbMax,
				"loss":        finite(e.LossFraction) && finite(e.LossSd),
				"outlet":      finite(e.OutletC),
			} {
				if !ok {
					t.Fatalf("%s out of bounds: %+v", name, e)
				}
			}
		}
	})
}

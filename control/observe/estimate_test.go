package observe

import (
	"math"
	"testing"

	"drumwright/control/bean"
)

// The sd of a quantity is sqrt(g'Pg) (textbook propagation of uncertainty); g
// is taken here by central differences, not from the code under test.
func TestReportedSd(t *testing.T) {
	delta := vector{1e-3, 1e-3, 1e-6, 1e-6, 1e-3, 1e-5, 1e-5, 1e-5, 1e-6}
	sd := func(f *Filter, at vector, of func(*Filter) float64) float64 {
		var g vector
		for i := range g {
			f.x = at
			f.x[i] += delta[i]
			up := of(f)
			f.x = at
			f.x[i] -= delta[i]
			g[i] = (up - of(f)) / (2 * delta[i])
		}
		f.x = at
		s := 0.0
		for i := range g {
			for j := range g {
				s += g[i] * g[j] * f.cov[i][j]
			}
		}
		return math.Sqrt(s)
	}

	f := midRoast(t)
	f.x[iMoisture], f.x[iDry], f.x[iBean] = 0.06, 0.98, 180
	before := f.x
	f.Predict(250, 205, 0.011)
	after, e := f.x, f.Estimate()
	rateSd := sd(f, before, func(f *Filter) float64 { f.advance(); return f.rateKPerS })
	f.x = after
	for _, c := range []struct {
		name      string
		got, want float64
	}{
		{"rate", e.RateSdKPerS, rateSd},
		{"lag", e.TauSdS, e.TauS * math.Sqrt(f.cov[iLnTau][iLnTau])},
		{"moisture", e.MoistureSdDB, math.Sqrt(f.cov[iMoisture][iMoisture])},
		{"bean", e.BeanSdC, math.Hypot(math.Sqrt(f.cov[iBean][iBean]), 0.022*(e.OutletC-e.BeanC)/0.9)},
	} {
		if !(math.Abs(c.got-c.want) <= 1e-5*c.want) || c.want == 0 {
			t.Errorf("sd of %s is %g, want %g", c.name, c.got, c.want)
		}
	}
}

// A correction must not carry a state out of its bounds, nor a variance to
// nothing.
func TestStateBounds(t *testing.T) {
	for _, sign := range []float64{-1, 1} {
		f := midRoast(t)
		for i := range f.x {
			if i != iProbe {
				c := sign * 0.9 * math.Sqrt(f.cov[i][i]*f.cov[iProbe][iProbe])
				f.cov[i][iProbe], f.cov[iProbe][i] = c, c
			}
		}
		f.cov[iReaction][iReaction], f.cov[iReaction][iProbe], f.cov[iProbe][iReaction] = 1e4, sign*19.9, sign*19.9
		for i, v := range map[int]float64{iMoisture: 4, iLnTau: 4, iLnHeat: 4, iDisturb: 4, iDry: 4} {
			f.cov[i][i] = v
			f.cov[i][iProbe], f.cov[iProbe][i] = sign*0.3, sign*0.3
		}
		f.cov[iStart][iStart], f.cov[iStart][iProbe], f.cov[iProbe][iStart] = 0, 0, 0
		f.Update(f.x[iProbe] + 2)
		hi := sign > 0
		for _, c := range []struct {
			i           int
			low, high   float64
			description string
		}{
			{iMoisture, 0, 0.25, "moisture"}, {iDry, 0.86, 1, "dry fraction"}, {iReaction, 0, 232, "reaction heat"},
			{iLnTau, -0.8, 0.7, "ln tau"}, {iLnHeat, -0.7, 0.7, "ln heat"}, {iDisturb, -0.15, 0.15, "disturbance"},
		} {
			want := c.low
			if hi {
				want = c.high
			}
			if f.x[c.i] != want {
				t.Errorf("%s is %g after a correction far past its bound, want %g", c.description, f.x[c.i], want)
			}
		}
		if v := f.cov[iStart][iStart]; v != 1e-14 {
			t.Errorf("a variance of zero became %g, want the floor 1e-14", v)
		}
	}
}

// The closed form against a roast integrated with each figure a little more and
// a little less, at several moments of it.
func TestLossGradient(t *testing.T) {
	const startDB = 0.1236
	roast := func(untilS float64, by [3]float64) (loss, moistureDB float64) {
		k := bean.DefaultKinetics()
		k.DryLossFactor *= math.Exp(by[0])
		k.DryingFactor *= math.Exp(by[1])
		x0 := startDB + by[2]
		x, s := x0, 1.0
		for tS := 0.0; tS < untilS; tS += 0.1 {
			beanC := 25 + 190*(1-math.Exp(-tS/250))
			x += 0.1 * k.DryingRatePerS(x, beanC)
			s += 0.1 * k.DryLossRatePerS(s, beanC)
		}
		return bean.LossFraction(s, x, x0), x
	}
	for _, untilS := range []float64{60, 300, 480, 600, 720} {
		loss, x := roast(untilS, [3]float64{})
		g := LossGradient(loss, x, startDB)
		for i := range g {
			const d = 1e-4
			var more, less [3]float64
			more[i], less[i] = d, -d
			a, _ := roast(untilS, more)
			b, _ := roast(untilS, less)
			if want := (a - b) / (2 * d); !(math.Abs(g[i]-want) <= 2e-3*math.Abs(want)+1e-5) {
				t.Errorf("after %g s, gradient %d: %g, want %g", untilS, i, g[i], want)
			}
		}
	}
}

// Before anything is weighed a point of green moisture that is not known costs
// about a point of loss (1.25 for moisture wet basis, the same roast otherwise,
// computed independently in Python), and the stated sd says so.
func TestUnknownMoistureIsStated(t *testing.T) {
	sd := func(moistureSdDB float64) float64 {
		f := new(Filter)
		p := largeMachine()
		p.MoistureSdDB, p.CoffeeCov = moistureSdDB, UsualCoffee(moistureSdDB)
		if err := f.Start(p, 25, true, 203); err != nil {
			t.Fatal(err)
		}
		f.x[iMoisture], f.x[iDry], f.x[iBean] = 0.022, 0.965, 205
		return f.Estimate().LossSd
	}
	const point = 0.0126 // of moisture wet basis, in kg per kg dry at 11 %
	known, unknown := sd(0.0001), sd(point)
	if cost := 100 * math.Sqrt(unknown*unknown-known*known); !(cost > 0.8 && cost < 1.3) {
		t.Errorf("a point of unknown moisture is stated as %.2f points of loss", cost)
	}
}

package bean

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// published is the rate laws exactly as quoted, without tuning.
var published = Kinetics{DryingFactor: 1, ExothermFactor: 1, DryLossFactor: 1, DiameterMM: 6}

// near fails when got is not within rel of want.
func near(t *testing.T, name string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s = %.9g, want %.9g within %g relative", name, got, want, rel)
	}
}

// The check values of this table were computed independently (Python, double
// precision) from the equations quoted in Vosloo 2017, printed to five figures.
func TestDryingRate(t *testing.T) {
	for _, c := range []struct{ tC, x, want float64 }{
		{100, 0.1236, -5.6729e-06},
		{150, 0.110, -1.0292e-04},
		{196, 0.050, -2.1029e-04},
		{205, 0.030, -1.1257e-04},
		{220, 0.015, -5.2793e-05},
	} {
		near(t, "drying rate", published.DryingRatePerS(c.x, c.tC), c.want, 1e-4)
		// The law is square in moisture and inverse square in diameter.
		near(t, "drying rate at 2X", published.DryingRatePerS(2*c.x, c.tC), 4*c.want, 1e-4)
		wide := published
		wide.DiameterMM *= 2
		near(t, "drying rate at 2d", wide.DryingRatePerS(c.x, c.tC), c.want/4, 1e-4)
		near(t, "default drying rate", DefaultKinetics().DryingRatePerS(c.x, c.tC), 1.8*c.want, 1e-4)
	}
}

// Computed independently (Python, double precision) from the quoted equation.
func TestExotherm(t *testing.T) {
	for _, c := range []struct{ tC, he, wantWPerKg float64 }{
		{100, 0, 46.129},
		{150, 10, 251.89},
		{196, 80, 616.86},
		{205, 100, 667.96},
		{220, 150, 588.76},
	} {
		near(t, "exotherm", 1000*published.ExothermKWPerKg(c.he, c.tC), c.wantWPerKg, 1e-4)
		near(t, "default exotherm", 1000*DefaultKinetics().ExothermKWPerKg(c.he, c.tC), 0.5*c.wantWPerKg, 1e-4)
	}
	if q := published.ExothermKWPerKg(ExothermTotalKJPerKg, 200); q != 0 {
		t.Errorf("exotherm with all heat released = %g, want 0", q)
	}
}

// Computed independently (Python, double precision) from the quoted equation.
func TestHeatCapacity(t *testing.T) {
	for _, c := range []struct{ tC, x, want float64 }{
		{25, 0.1236, 1683.87},
		{100, 0.12, 2141.96},
		{150, 0.11, 2431.53},
		{196, 0.05, 2591.43},
		{205, 0.03, 2605.83},
	} {
		near(t, "heat capacity", HeatCapacityJPerKgK(c.tC, c.x), c.want, 5e-6)
		near(t, "dry heat capacity", DryHeatCapacityJPerKgK(c.tC, c.x), c.want*(1+c.x), 5e-6)
	}
}

// Computed independently (Python, double precision) from the stated law.
func TestDryLossRate(t *testing.T) {
	for _, c := range []struct{ tC, want float64 }{
		{150, -1.5939e-05},
		{180, -1.0419e-04},
		{196, -2.5707e-04},
		{205, -4.1605e-04},
		{220, -8.9262e-04},
		{230, -1.4478e-03},
	} {
		near(t, "dry loss rate", published.DryLossRatePerS(1, c.tC), c.want, 1e-4)
		near(t, "half way", published.DryLossRatePerS(0.93, c.tC), c.want/2, 1e-4)
	}
	for _, s := range []float64{DryFractionMin, 0.5} {
		if r := published.DryLossRatePerS(s, 230); r != 0 {
			t.Errorf("dry loss rate at S = %g is %g, want 0", s, r)
		}
	}
}

// Worked by hand from the mass balance; the first row is plain: a bean of 11 %
// moisture (wet basis) that loses all its water and nothing else loses 11 %.
func TestLossFraction(t *testing.T) {
	x0 := MoistureDryBasis(0.11)
	for _, c := range []struct{ s, x, want, tol float64 }{
		{1, 0, 0.11, 1e-12},
		{0.95, 0.02, 0.13759, 5e-5},
		{0.90, 0.01, 0.19099, 5e-5},
	} {
		near(t, "loss", LossFraction(c.s, c.x, x0), c.want, c.tol)
	}
	near(t, "moisture d.b.", x0, 0.12359550561797752, 1e-15)
	near(t, "dry mass", DryMassKg(1, x0), 0.89, 1e-15)
}

// Computed independently (Python, double precision) from the stated model.
func TestSwelling(t *testing.T) {
	near(t, "volume ratio", VolumeRatio(0.95), 1.4, 1e-12)
	near(t, "volume ratio held", VolumeRatio(0.80), 1.8, 1e-12)
	near(t, "bulk volume", BulkVolumeL(0.68, 680, 0.95), 1.4, 1e-12)
}

// Table: the common public engineering table of air at atmospheric pressure
// (three figures, as printed); computed: Python, double precision.
func TestAir(t *testing.T) {
	for _, c := range []struct{ tC, cpCalc, cpTable float64 }{
		{20, 1006.1, 1005},
		{100, 1011.3, 1009},
		{200, 1024.9, 1026},
		{250, 1034.7, 1034},
		{300, 1046.5, 1047},
	} {
		near(t, "air cp, computed", AirCpJPerKgK(c.tC), c.cpCalc, 1e-4)
		near(t, "air cp, table", AirCpJPerKgK(c.tC), c.cpTable, 3e-3)
	}
	// 0.011 kg/s from 25 to 300 °C with the specific heat at the mean.
	near(t, "mean cp", AirCpJPerKgK(162.5), 1018.9, 1e-4)
	near(t, "heater power", 0.011*AirCpJPerKgK(162.5)*(300-25), 3082, 2e-4)
}

func TestStefanBoltzmann(t *testing.T) {
	// CODATA 2018 prints 5.670 374 419... e-8 as exact.
	near(t, "sigma", StefanBoltzmannWPerM2K4, 5.670374419e-8, 1e-10)
	// Computed independently (Python, double precision).
	for _, c := range []struct{ hot, cold, q float64 }{
		{400, 200, 8801.0}, {500, 220, 16907.5}, {600, 250, 28711.1},
	} {
		near(t, "black exchange", BlackExchangeWPerM2(c.hot, c.cold), c.q, 1e-5)
	}
}

// One right-hand side of a 1 kg roaster model, computed independently (Python,
// double precision) from the stated balances: bean 150 °C, X 0.110, S 0.999,
// He 10 kJ/kg, drum 230 °C, inlet air 290 °C, 0.011 kg/s.
func TestBeanBalance(t *testing.T) {
	k := DefaultKinetics()
	gas := 0.011 * AirCpJPerKgK(290)
	afterDrum := 290 - Effectiveness(2.5, gas)*(290-230)
	toBed := gas * Effectiveness(11.8, gas) * (afterDrum - 150)
	fromDrum := 1.51 * (230 - 150)
	dry := DryMassKg(1, 0.11/0.89) * 0.999
	dX, q := k.DryingRatePerS(0.110, 150), k.ExothermKWPerKg(10, 150)
	near(t, "dX/dt", dX, -1.85265e-04, 1e-5)
	near(t, "dHe/dt", 1000*q, 125.947, 1e-5)
	near(t, "dS/dt", k.DryLossRatePerS(0.999, 150), -1.58255e-05, 1e-5)
	near(t, "gas to bed", toBed, 945.808, 1e-6)
	near(t, "outlet air", afterDrum-toBed/gas, 195.905, 1e-5)
	rate := (toBed + fromDrum + 1000*dry*(q+VaporisationKJPerKg*dX)) / (dry * DryHeatCapacityJPerKgK(150, 0.110))
	near(t, "dT/dt", rate, 0.299627, 1e-5)
}

// The slopes must be the derivatives of the rates they claim to belong to, and
// every rate must only ever use something up.
func TestRatesOnlyDecay(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := DefaultKinetics()
		tC := rapid.Float64Range(0, 260).Draw(t, "beanC")
		x := rapid.Float64Range(0, 0.25).Draw(t, "x")
		s := rapid.Float64Range(0.861, 1).Draw(t, "s")
		he := rapid.Float64Range(0, 231).Draw(t, "he")
		if r := k.DryingRatePerS(x, tC); !(r <= 0) {
			t.Fatalf("drying rate %g is positive", r)
		}
		if r := k.DryLossRatePerS(s, tC); !(r <= 0) {
			t.Fatalf("dry loss rate %g is positive", r)
		}
		if r := k.ExothermKWPerKg(he, tC); !(r >= 0) {
			t.Fatalf("exotherm %g is negative", r)
		}
		const d = 1e-3
		slope := (k.ExothermKWPerKg(he+d, tC) - k.ExothermKWPerKg(he-d, tC)) / (2 * d)
		if want := k.ExothermSlopePerS(tC); math.Abs(slope-want) > 1e-6*math.Abs(want) {
			t.Fatalf("exotherm slope %g, central difference %g", want, slope)
		}
		const ds = 1e-4
		slope = (k.DryLossRatePerS(s+ds, tC) - k.DryLossRatePerS(s-ds, tC)) / (2 * ds)
		if want := k.DryLossSlopePerS(tC); math.Abs(slope-want) > 1e-6*math.Abs(want) {
			t.Fatalf("dry loss slope %g, central difference %g", want, slope)
		}
	})
}

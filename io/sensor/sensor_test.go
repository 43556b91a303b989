package sensor

import (
	"fmt"
	"math"
	"testing"

	"pgregory.net/rapid"
)

// The table of IEC 60751 for 100 Ω. The two-decimal values of -200, -100, 0, 100,
// 200, 300 and 400 °C are from memory of the standard and agree with the computed
// ones; the others, and all with six decimals, were computed independently (Python,
// double precision) from the equation as makers' pages quote it. No original seen.
var platinumTable = []struct{ c, ohm, six, slope float64 }{
	{-200, 18.52, 18.520080, 0.4323}, {-100, 60.26, 60.255840, 0.4053}, {-50, 80.31, 80.306282, 0.3971}, {-40, 84.27, 84.270652, 0.3958},
	{-10, 96.09, 96.085879, 0.3920}, {0, 100.00, 100.000000, 0.3908}, {20, 107.79, 107.793500, 0.3885}, {25, 109.73, 109.734656, 0.3879},
	{50, 119.40, 119.397125, 0.3851}, {100, 138.51, 138.505500, 0.3793}, {150, 157.33, 157.325125, 0.3735}, {180, 168.48, 168.478300, 0.3700},
	{200, 175.86, 175.856000, 0.3677}, {210, 179.53, 179.527525, 0.3666}, {220, 183.19, 183.187500, 0.3654}, {230, 186.84, 186.835925, 0.3643},
	{240, 190.47, 190.472800, 0.3631}, {250, 194.10, 194.098125, 0.3620}, {300, 212.05, 212.051500, 0.3562}, {350, 229.72, 229.716125, 0.3504},
	{400, 247.09, 247.092000, 0.3446}, {450, 264.18, 264.179125, 0.3389}, {500, 280.98, 280.977500, 0.3331}, {850, 390.48, 390.481125, 0.2927},
}

func TestPlatinum(t *testing.T) {
	for _, x := range platinumTable {
		for _, k := range [...]struct {
			kind  Kind
			times float64
		}{{Pt100, 1}, {Pt1000, 10}} {
			got := k.kind.Electrical(x.c, 0) / k.times
			if math.Abs(got-x.six) > 5.1e-7 || math.Abs(got-x.ohm) > 0.00501 {
				t.Errorf("%s at %v °C: %.7f Ω, the table has %v and %v", k.kind, x.c, got, x.six, x.ohm)
			}
			c, ok := k.kind.Celsius(x.six*k.times, 99)
			if !ok || math.Abs(c-x.c) > 2e-6 { // half a digit of the table
				t.Errorf("%s at %v Ω: %v °C %t, want %v", k.kind, x.six*k.times, c, ok, x.c)
			}
		}
		if d := (platinumOhm(x.c+0.01, 100) - platinumOhm(x.c-0.01, 100)) / 0.02; math.Abs(d-x.slope) > 6e-5 {
			t.Errorf("slope at %v °C: %.5f, want %v", x.c, d, x.slope)
		}
	}
	// Of rounded resistances, computed independently (Python).
	for _, x := range [...]struct{ ohm, c float64 }{{80, -50.771}, {107.79, 19.991}, {138.51, 100.012}, {175.86, 200.011}, {212.05, 299.996}, {247.09, 399.994}} {
		if c, ok := Pt100.Celsius(x.ohm, 0); !ok || math.Abs(c-x.c) > 6e-4 {
			t.Errorf("%v Ω: %v °C, want %v", x.ohm, c, x.c)
		}
	}
}

// The tables of NIST Monograph 175, mV against a junction at 0 °C. Three decimals
// as in the published tables (from memory where not at the ends of a range, which
// NIST's page prints); seven decimals and what the inverse polynomials alone make
// of them were computed independently (Python, double precision).
var thermocoupleTable = []struct{ c, k3, k7, kInverse, j3, j7, jInverse float64 }{
	{-200, -5.891, -5.8914036, math.NaN(), -7.890, -7.8904833, -200.048},
	{-100, -3.554, -3.5536313, -99.992, -4.633, -4.6325237, -99.989},
	{-50, -1.889, -1.8893833, -49.995, -2.431, -2.4312762, -49.984},
	{0, 0, 0, 0, 0, 0, 0},
	{20, 0.798, 0.7981197, 19.973, 1.019, 1.0191493, 19.966},
	{25, 1.000, 1.0002424, 24.990, 1.277, 1.2772884, 24.965},
	{50, 2.023, 2.0230779, 50.033, 2.585, 2.5853155, 49.979},
	{100, 4.096, 4.0962302, 99.969, 5.269, 5.2689161, 100.020},
	{150, 6.138, 6.1383439, 150.029, 8.010, 8.0099049, 150.015},
	{200, 8.138, 8.1384733, 199.984, 10.779, 10.7787461, 199.990},
	{220, 8.940, 8.9398931, 219.975, 11.889, 11.8892628, 219.983},
	{250, 10.153, 10.1533688, 249.996, 13.555, 13.5551922, 249.980},
	{300, 12.209, 12.2085655, 300.014, 16.327, 16.3272055, 299.994},
	{400, 16.397, 16.3971419, 400.005, 21.848, 21.8480650, 400.019},
	{500, 20.644, 20.6442864, 499.954, 27.393, 27.3926310, 499.983},
	{600, 24.905, 24.9054670, 600.005, 33.102, 33.1024104, 600.006},
	{1000, 41.276, 41.2756065, 999.977, 57.953, 57.9534104, 1000.015},
}

func TestThermocouples(t *testing.T) {
	check := func(k Kind, tc *thermocouple, c, three, seven, inverse float64) {
		t.Helper()
		got := k.Electrical(c, 0)
		if math.Abs(got-seven) > 6e-8 || math.Abs(got-three) > 0.000501 {
			t.Errorf("%s at %v °C: %.8f mV, the tables have %v and %v", k, c, got, seven, three)
		}
		if back, ok := k.Celsius(seven, 0); !ok || math.Abs(back-c) > 5e-6 {
			t.Errorf("%s at %v mV: %v °C %t, want %v", k, seven, back, ok, c)
		}
		if math.IsNaN(inverse) {
			return
		}
		if alone, _ := value(pick(tc.inverse, seven), seven); math.Abs(alone-inverse) > 6e-4 {
			t.Errorf("%s: the inverse polynomial gives %.4f °C at %v mV, want %v", k, alone, seven, inverse)
		}
	}
	for _, x := range thermocoupleTable {
		check(TypeK, &typeK, x.c, x.k3, x.k7, x.kInverse)
		check(TypeJ, &typeJ, x.c, x.j3, x.j7, x.jInverse)
	}
	check(TypeK, &typeK, 1372, 54.886, 54.8863640, math.NaN())
	check(TypeJ, &typeJ, 1200, 69.553, 69.5531798, math.NaN())
}

// The errors that NIST states for its inverse polynomials: type K -0.02 to 0.04 K
// below 0 °C, -0.05 to 0.04 up to 500 °C, -0.05 to 0.06 above (as public files quote
// it).
func TestInversePolynomialsKeepTheirStatedError(t *testing.T) {
	for _, r := range [...]struct{ from, to, lo, hi float64 }{{-200, 0, -0.02, 0.04}, {0.25, 500, -0.05, 0.04}, {500.25, 1372, -0.05, 0.06}} {
		for c := r.from; c <= r.to; c += 0.25 {
			mV := typeK.millivolts(c)
			alone, _ := value(pick(typeK.inverse, mV), mV)
			if d := alone - c; d < r.lo-0.003 || d > r.hi+0.003 { // they are stated to two decimals
				t.Fatalf("at %v °C the inverse is off by %.4f K", c, d)
			}
		}
	}
}

// Type K at 200 °C with its cold junction at 25 °C gives 7.138231 mV (computed
// independently, Python, from the reference function). Whoever adds temperatures
// gets 199.962.
func TestColdJunction(t *testing.T) {
	const measured = 7.138231
	if got := TypeK.Electrical(200, 25); math.Abs(got-measured) > 5e-7 {
		t.Errorf("%.7f mV, want %v", got, measured)
	}
	c, ok := TypeK.Celsius(measured, 25)
	if !ok || math.Abs(c-200) > 2e-5 {
		t.Errorf("%v °C", c)
	}
	if alone, _ := TypeK.Celsius(measured, 0); math.Abs(alone+25-200) < 0.02 {
		t.Errorf("adding temperatures gives %v: the check tells nothing", alone+25)
	}
}

// An open or shorted sensor gives no temperature.
func TestBrokenSensors(t *testing.T) {
	for _, x := range [...]struct {
		k Kind
		v float64
	}{
		{Pt100, 0}, {Pt100, 17.9}, {Pt100, 391.1}, {Pt100, 1e9}, {Pt100, -5}, {Pt1000, 100}, {Pt1000, 3920}, {Pt1000, math.NaN()}, {Pt100, math.Inf(1)},
		{TypeK, 54.9}, {TypeK, -7.3}, {TypeK, 80}, {TypeJ, 70}, {TypeJ, -9.5}, {TypeK, math.NaN()}, {TypeJ, math.Inf(-1)}, {None, math.NaN()},
	} {
		if c, ok := x.k.Celsius(x.v, 25); ok {
			t.Errorf("%s %v: %v °C", x.k, x.v, c)
		}
	}
	if c, ok := TypeK.Celsius(5, math.NaN()); ok {
		t.Errorf("without a cold junction: %v °C", c)
	}
}

func TestThereAndBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		k := Kind(rapid.IntRange(int(Pt100), int(TypeJ)).Draw(t, "kind"))
		lo, hi := k.RangeC()
		c, junction := rapid.Float64Range(lo, hi).Draw(t, "c"), rapid.Float64Range(-10, 80).Draw(t, "junction")
		back, ok := k.Celsius(k.Electrical(c, junction), junction)
		if !ok || math.Abs(back-c) > 1e-7 {
			t.Fatalf("%s: %v °C came back as %v, %t", k, c, back, ok)
		}
	})
}

// Whatever a register holds, the answer is a temperature of the sensor's range, or
// none.
func FuzzCelsius(f *testing.F) {
	f.Add(uint8(Pt100), 138.5, 25.0)
	f.Add(uint8(TypeK), 7.138, 25.0)
	f.Add(uint8(TypeJ), -7.89, 0.0)
	f.Fuzz(func(t *testing.T, kind uint8, v, junction float64) {
		k := Kind(kind % uint8(numKinds))
		c, ok := k.Celsius(v, junction)
		if k == None || !ok {
			return
		}
		lo, hi := k.RangeC()
		if !(c >= lo-2 && c <= hi+2) {
			t.Errorf("%s: %v with %v gives %v °C", k, v, junction, c)
		}
		if e := k.Electrical(c, junction); math.Abs(e-v) > 1e-6*(1+math.Abs(v)) {
			t.Errorf("%s: %v gives %v °C, which gives %v", k, v, c, e)
		}
	})
}

func TestNames(t *testing.T) {
	for k := range numKinds {
		if got, ok := Named(k.String()); !ok || got != k {
			t.Errorf("%d: %q is %d, %t", k, k.String(), got, ok)
		}
	}
	if _, ok := Named("type_x"); ok {
		t.Error("type_x is known")
	}
}

func TestNoGarbage(t *testing.T) {
	for k := range numKinds {
		if n := testing.AllocsPerRun(100, func() { k.Celsius(k.Electrical(200, 25), 25) }); n != 0 {
			t.Errorf("%s: %v allocations", k, n)
		}
	}
}

func BenchmarkCelsius(b *testing.B) {
	for _, k := range [...]Kind{Pt100, TypeK, TypeJ} {
		b.Run(fmt.Sprint(k), func(b *testing.B) {
			v := k.Electrical(200, 25)
			b.ReportAllocs()
			for b.Loop() {
				k.Celsius(v, 25)
			}
		})
	}
}

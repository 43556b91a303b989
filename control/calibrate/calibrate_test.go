package calibrate

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Boiling points: 0.1 MPa gives 372.755919 K (IAPWS R7-97, table 36, from
// memory); 1013.25 hPa gives 99.974 °C (ITS-90 boiling point of water, from
// memory); 700 and 900 hPa: 89.93 and 96.69 °C (steam tables, from memory, as
// rounded there).
func TestBoiling(t *testing.T) {
	for _, c := range []struct{ hPa, wantC, within float64 }{{1000, 372.755919 - 273.15, 1e-6}, {1013.25, 99.974, 0.002}, {700, 89.93, 0.02}, {900, 96.69, 0.02}} {
		got, err := BoilingC(c.hPa)
		if err != nil || math.Abs(got-c.wantC) > c.within {
			t.Errorf("at %g hPa %.6f °C, %v; want %.6f", c.hPa, got, err, c.wantC)
		}
	}
	for _, bad := range []float64{0, 499, 1101, math.NaN()} {
		if _, err := BoilingC(bad); err == nil {
			t.Errorf("%g hPa is taken", bad)
		}
	}
}

// Standard atmosphere: 898.76 hPa at 1000 m, 794.95 hPa at 2000 m (ISO 2533
// table, from memory, to 0.1 hPa).
func TestPressure(t *testing.T) {
	for _, c := range []struct{ m, want float64 }{{0, 1013.25}, {1000, 898.76}, {2000, 794.95}} {
		if got, err := PressureHPa(c.m); err != nil || math.Abs(got-c.want) > 0.1 {
			t.Errorf("at %g m %.2f hPa, %v; want %.2f", c.m, got, err, c.want)
		}
	}
}

// An injected offset and gain come back within their stated uncertainty in at
// least 93 of 100 draws of references that are off as far as they say (95 % is
// stated), and the uncertainty grows outside the points.
func TestRecoversWhatWasInjected(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	const gain, offset, draws = 1.02, -1.3, 2000
	within := [3]int{}
	for range draws {
		var points []Point
		for _, c := range []float64{0, 99.2, 180} {
			points = append(points, Point{Read: (c - offset) / gain, True: c + 0.2*rng.NormFloat64(), U: 0.4})
		}
		l, err := FitLine(points)
		if err != nil {
			t.Fatal(err)
		}
		v, u := l.At(215)
		for k, ok := range [...]bool{math.Abs(l.Gain-gain) <= l.GainU, math.Abs(l.Offset-offset) <= l.OffsetU, math.Abs(v-(gain*215+offset)) <= u} {
			if ok {
				within[k]++
			}
		}
		if _, mid := l.At(93); mid >= u {
			t.Fatalf("uncertainty %.3f in the middle and %.3f outside", mid, u)
		}
	}
	for k, n := range within {
		if n < draws*93/100 {
			t.Errorf("figure %d within its uncertainty in %d of %d", k, n, draws)
		}
	}
}

func TestOnePointGivesTheOffsetAlone(t *testing.T) {
	l, err := FitLine([]Point{{Read: 0.7, True: 0, U: 0.2}})
	if err != nil || l.Gain != 1 || math.Abs(l.Offset+0.7) > 1e-12 || l.GainU != 0 || math.Abs(l.OffsetU-0.2) > 1e-12 {
		t.Errorf("%+v, %v", l, err)
	}
	if _, err := FitLine(nil); err == nil {
		t.Error("no points are taken")
	}
}

// 6.6 mm/s per Hz at three frequencies, one tachometer good to 2 mm/s.
func TestRatio(t *testing.T) {
	k, u, err := FitRatio([]Point{{30, 198.5, 2}, {50, 329.2, 2}, {65, 429.6, 2}})
	if err != nil || math.Abs(k-6.6) > u || u > 0.05 {
		t.Errorf("%.4f ± %.4f, %v", k, u, err)
	}
	if _, _, err := FitRatio([]Point{{30, 198, 2}, {60, 380, 2}}); err == nil {
		t.Error("points 4 % apart are taken")
	}
}

// 50 Wh in 100 s are 1800 W; at 207 V, a tenth low, the heater is one of 1800/0.81 W.
// By definition of the units; the errors add as squares, the voltage's twice.
func TestMetered(t *testing.T) {
	w, u := MeteredW(50, 0.5, 100, 1, 207, 0, 230)
	if math.Abs(w-1800/0.81) > 1e-9 || math.Abs(u/w-math.Hypot(0.01, 0.01)) > 1e-12 {
		t.Errorf("%g ± %g", w, u)
	}
	if _, u := MeteredW(50, 0, 100, 0, 230, 2.3, 230); math.Abs(u/1800-0.02) > 1e-12 {
		t.Errorf("1 %% of voltage makes %g of power", u/1800)
	}
}

// 36 kg/h of air (0.01 kg/s) of 1010 J/(kg K), warmer by 200 K, carry 2020 W; at half
// duty, with all of it in the air, the heater is one of 4040 W.
func TestBalance(t *testing.T) {
	w, u := BalanceW(0.01, 0.0005, 1010, 200, 2, 0.5, 1, 0, 230, 0, 230)
	if math.Abs(w-4040) > 1e-9 || math.Abs(u/w-math.Hypot(0.05, 0.01)) > 1e-12 {
		t.Errorf("%g ± %g", w, u)
	}
}

// 8.00 A at 225 V is a heater of 8/225·230² W at 230 V.
func TestRated(t *testing.T) {
	w, u := RatedW(8, 0.08, 225, 1, 230)
	if math.Abs(w-1880.9) > 0.1 || math.Abs(u/w-math.Hypot(0.01, 1.0/225)) > 1e-12 {
		t.Errorf("%g ± %g", w, u)
	}
}

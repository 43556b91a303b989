package beanloop

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// sample takes points of a smooth target every stepS from fromS to the drop.
func sample(c smoothCurve, fromS, stepS float64) []Point {
	var ps []Point
	for t := fromS; t < c.dropS; t += stepS {
		v, _, _ := c.at(t)
		ps = append(ps, Point{t, v})
	}
	return append(ps, Point{c.dropS, c.dropC})
}

// The targets of the study, sampled as a recipe would be, must come back, also
// where the loop closes, 10 s after charge, before the first point.
func TestCurveReproducesSmoothTargets(t *testing.T) {
	for _, sc := range smoothCurves {
		for _, c := range []struct {
			name           string
			roundC         float64
			valueC, perMin float64 // limits from the first point on
			backC          float64 // and before it
		}{
			{"exact points", 0, 0.03, 0.2, 3},
			{"points to 0.1 °C", 0.1, 0.2, 0.5, 3},
		} {
			t.Run(sc.name+", "+c.name, func(t *testing.T) {
				ps := sample(sc, 120, 60)
				if c.roundC > 0 {
					for i := range ps {
						ps[i].TempC = math.Round(ps[i].TempC/c.roundC) * c.roundC
					}
				}
				curve, err := NewCurve(ps)
				if err != nil {
					t.Fatal(err)
				}
				for ts := 10.0; ts <= sc.dropS; ts++ {
					v, s, _ := curve.At(ts)
					wantV, wantS, _ := sc.at(ts)
					if ts < ps[0].TimeS {
						if math.Abs(v-wantV) > c.backC {
							t.Fatalf("at %g s, before the first point, %g °C, want %g", ts, v, wantV)
						}
						continue
					}
					if math.Abs(v-wantV) > c.valueC {
						t.Fatalf("at %g s %g °C, want %g", ts, v, wantV)
					}
					if math.Abs(s-wantS)*60 > c.perMin {
						t.Fatalf("at %g s %g K/min, want %g", ts, 60*s, 60*wantS)
					}
				}
				endV, endS, _ := curve.At(sc.dropS)
				if v, s, b := curve.At(sc.dropS + 30); math.Abs(v-endV-30*endS) > 1e-9 || s != endS || b != 0 {
					t.Errorf("30 s after the end %g °C, %g K/s, %g K/s², want straight on from %g °C, %g K/s", v, s, b, endV, endS)
				}
				for _, p := range [][2]float64{{127, sc.rateAt127}, {sc.dropS, sc.rateAtDrop}} {
					if _, s, _ := curve.At(p[0]); math.Abs(60*s-p[1]) > 0.05+c.perMin {
						t.Errorf("rate of rise at %g s %.2f K/min, printed %g", p[0], 60*s, p[1])
					}
				}
			})
		}
	}
}

// A roast that is not of the trend's form: bean probe of a simulated 1 kg roast
// (nine-state model, RK4 0.5 s, computed independently in Python), points every
// 60 s, against the rate of rise printed beside them. At 120 s the probe is
// still recovering from the plunge, its rate of rise peaks between the points,
// and no curve through them can show the peak in full.
func TestCurveThroughARoast(t *testing.T) {
	curve, err := NewCurve([]Point{
		{90, 82.1}, {120, 93.8}, {180, 120.7}, {240, 143.6}, {300, 160.2}, {360, 172.0},
		{420, 180.7}, {480, 188.8}, {540, 197.2}, {600, 205.8}, {609, 207.0},
	})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ tS, perMin, tol float64 }{
		{120, 26.4, 2.5}, {180, 25.7, 1}, {240, 19.6, 1}, {300, 14.0, 1}, {360, 9.8, 1}, {420, 8.1, 1},
		{480, 8.2, 1}, {540, 8.5, 1}, {600, 8.5, 1},
	} {
		if _, s, _ := curve.At(c.tS); math.Abs(60*s-c.perMin) > c.tol {
			t.Errorf("rate of rise at %g s %.2f K/min, printed %g", c.tS, 60*s, c.perMin)
		}
	}
	// Extended back, the target must start between a cold store and a hot day.
	if v, s, _ := curve.At(10); v < 0 || v > 60 || s <= 0 {
		t.Errorf("at 10 s %g °C rising by %g K/min", v, 60*s)
	}
}

// Any accepted curve passes through its points, and value, slope and second
// derivative fit together everywhere, joints included.
func TestCurveIsSmooth(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ts, tc := rapid.Float64Range(60, 150).Draw(t, "firstS"), rapid.Float64Range(70, 110).Draw(t, "firstC")
		ps := []Point{{ts, tc}}
		for n := rapid.IntRange(1, 9).Draw(t, "more"); n > 0; n-- {
			ts += rapid.Float64Range(20, 90).Draw(t, "gapS")
			tc += rapid.Float64Range(0, 30).Draw(t, "riseK")
			ps = append(ps, Point{ts, min(tc, 300)})
		}
		c, err := NewCurve(ps)
		if err != nil {
			if !strings.Contains(err.Error(), "would fall") {
				t.Fatal(err)
			}
			t.Skip("too uneven")
		}
		for _, p := range ps {
			if v, _, _ := c.At(p.TimeS); math.Abs(v-p.TempC) > 1e-6 {
				t.Fatalf("at %g s %g °C, the point is %g", p.TimeS, v, p.TempC)
			}
		}
		check := func(at float64) {
			const d = 1e-3
			v, s, b := c.At(at)
			lo, sLo, _ := c.At(at - d)
			hi, sHi, _ := c.At(at + d)
			// At the end a slope that dips below zero is cut to zero: a kink, bounded.
			slack := 1e-5
			if math.Abs(at-c.EndS()) <= d {
				slack = -dipKPerS
			}
			if math.IsNaN(v+s+b) || math.Abs((hi-lo)/(2*d)-s) > slack || math.Abs(hi-2*v+lo) > d*slack+1e-6 {
				t.Fatalf("at %g s value %g, slope %g, difference %g", at, v, s, (hi-lo)/(2*d))
			}
			if at < c.EndS()-d && math.Abs((sHi-sLo)/(2*d)-b) > 1e-4 {
				t.Fatalf("at %g s second derivative %g, difference %g", at, b, (sHi-sLo)/(2*d))
			}
		}
		for at := 0.0; at < ts+60; at += 7.3 {
			check(at)
		}
		for _, p := range ps[:len(ps)-1] {
			check(p.TimeS)
			_, _, before := c.At(p.TimeS - 1e-9)
			_, _, after := c.At(p.TimeS + 1e-9)
			if math.Abs(before-after) > 1e-6 {
				t.Fatalf("second derivative jumps from %g to %g at %g s", before, after, p.TimeS)
			}
		}
	})
}

func TestCurveRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		points []Point
		want   string
	}{
		{"one point", []Point{{100, 90}}, "at least 2"},
		{"out of order", []Point{{100, 90}, {200, 130}, {150, 140}}, "point 3 is at 150 s"},
		{"too close", []Point{{100, 90}, {102, 91}}, "2 s after the one before"},
		{"falling", []Point{{100, 90}, {200, 80}}, "below the 90 °C"},
		{"not a number", []Point{{100, 90}, {200, math.NaN()}}, "point 2 is 200 s, NaN °C"},
		{"too hot", []Point{{100, 90}, {200, 390}}, "390 °C, allowed 0 to 7200 s and 0 to 300 °C"},
		{"too uneven", []Point{{100, 90}, {200, 130}, {300, 131}, {310, 160}, {400, 200}}, "would fall"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := NewCurve(c.points); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("error %v, want one with %q", err, c.want)
			}
		})
	}
}

func TestFewPoints(t *testing.T) {
	for _, c := range []struct {
		name   string
		points []Point
		falls  bool // the rate of rise
	}{
		{"two", []Point{{120, 100}, {240, 140}}, true},
		{"three", []Point{{120, 95}, {360, 172}, {620, 207}}, true},
		{"two, steeper than from room temperature", []Point{{120, 60}, {240, 120}}, false},
		{"rate of rise that climbs", []Point{{100, 50}, {200, 90}, {300, 140}, {400, 200}}, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			curve, err := NewCurve(c.points)
			if err != nil {
				t.Fatal(err)
			}
			_, early, _ := curve.At(c.points[0].TimeS)
			_, late, _ := curve.At(curve.EndS())
			if falls := early > late; falls != c.falls || late <= 0 {
				t.Errorf("rate of rise %.1f then %.1f K/min, want it to fall: %v", 60*early, 60*late, c.falls)
			}
			// From charge to the first point it must rise from about room
			// temperature (common practice: beans at 5 to 35 °C).
			v, s, _ := curve.At(10)
			if v < 0 || v > c.points[0].TempC || s <= 0 {
				t.Errorf("at 10 s %.1f °C, %.1f K/min", v, 60*s)
			}
		})
	}
}

// Points that start at the turn carry the plunge of the probe. The extension
// must not read it as beans that shoot up from the cold.
func TestCurveFromTheTurn(t *testing.T) {
	roast := []Point{
		{67, 78.0}, {90, 82.1}, {120, 93.8}, {180, 120.7}, {240, 143.6}, {300, 160.2}, {360, 172.0},
		{420, 180.7}, {480, 188.8}, {540, 197.2}, {609, 207.0},
	}
	for from := 0; from < 4; from++ {
		curve, err := NewCurve(roast[from:])
		if err != nil {
			t.Fatal(err)
		}
		if v, s, _ := curve.At(10); v < 10 || v > 45 || s <= 0 || s > 80.0/60 {
			t.Errorf("points from %g s on: %.1f °C, %.1f K/min at 10 s", roast[from].TimeS, v, 60*s)
		}
	}
}

func TestCurveNoAllocations(t *testing.T) {
	c, err := NewCurve(sample(smoothCurves[0], 120, 60))
	if err != nil {
		t.Fatal(err)
	}
	at := 0.0
	if n := testing.AllocsPerRun(200, func() { Plan{Curve: c}.Target(at, 6); at += 4 }); n != 0 {
		t.Errorf("%g allocations", n)
	}
}

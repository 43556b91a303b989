package drum

import (
	"math"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func tradeSchedule(t testing.TB) Schedule {
	t.Helper()
	var pts []Point
	for _, p := range tradePoints {
		pts = append(pts, Point{LossFrac: 1 - p.massG/tradePoints[0].massG, SkinMMS: p.vv})
	}
	s, err := NewSchedule(pts)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestScheduleTradeVector(t *testing.T) {
	s := tradeSchedule(t)
	// Points: common practice, no source. Slopes and values between: computed
	// independently (Python, double precision) from the stated equations.
	for i, want := range []float64{-825.0, -703.53, -618.66, -551.79} {
		near(t, "slope", s.curve.slope[i], want, 0.005)
	}
	for _, c := range []struct{ x, want, tol float64 }{
		{0, 428, 0}, {0.06, 382, 1e-9}, {0.12, 343, 1e-9}, {0.20, 296, 1e-9},
		{0.03, 404.09, 0.005}, {0.09, 361.86, 0.005}, {0.16, 318.83, 0.005},
		{-0.1, 428, 0}, {0.21, 296, 0}, {0.9, 296, 0}, {math.NaN(), 428, 0},
	} {
		near(t, "skin speed", s.SkinMMS(c.x), c.want, c.tol)
	}
}

func TestScheduleRefuses(t *testing.T) {
	for _, c := range []struct {
		name   string
		points []Point
		want   string
	}{
		{"none", nil, "0 points"},
		{"too many", make([]Point, MaxPoints+1), "17 points"},
		{"percent for fraction", []Point{{0, 428}, {6, 382}}, "0.06"},
		{"loss below zero", []Point{{-0.01, 428}}, "mass loss"},
		{"loss NaN", []Point{{math.NaN(), 428}}, "mass loss"},
		{"same loss twice", []Point{{0, 428}, {0, 400}}, "must rise"},
		{"speed rises", []Point{{0, 428}, {0.1, 429}}, "must not rise"},
		{"speed zero", []Point{{0, 428}, {0.1, 0}}, "skin speed"},
		{"speed infinite", []Point{{0, math.Inf(1)}}, "skin speed"},
	} {
		t.Run(c.name, func(t *testing.T) {
			if _, err := NewSchedule(c.points); err == nil || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got error %v, want one that says %q", err, c.want)
			}
		})
	}
}

func TestScheduleOnePointIsConstant(t *testing.T) {
	s, err := NewSchedule([]Point{{0.05, 300}})
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []float64{0, 0.05, 0.3} {
		near(t, "skin speed", s.SkinMMS(x), 300, 0)
	}
}

// Any legal schedule: never rises with loss, stays between its ends, passes
// through its points.
func TestScheduleIsMonotone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, MaxPoints).Draw(t, "points")
		var pts []Point
		x, v := rapid.Float64Range(0, 0.02).Draw(t, "x0"), rapid.Float64Range(300, 600).Draw(t, "v0")
		for range n {
			pts = append(pts, Point{x, v})
			x += rapid.Float64Range(1e-4, 0.05).Draw(t, "dx")
			v -= rapid.OneOf(rapid.Just(0.0), rapid.Float64Range(0, 15)).Draw(t, "dv")
		}
		s, err := NewSchedule(pts)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range pts {
			if got := s.SkinMMS(p.LossFrac); math.Abs(got-p.SkinMMS) > 1e-9 {
				t.Fatalf("at point %v: got %g", p, got)
			}
		}
		prev := math.Inf(1)
		for i := range 400 {
			got := s.SkinMMS(float64(i) / 400)
			if got > prev+1e-9 || got > pts[0].SkinMMS || got < pts[n-1].SkinMMS {
				t.Fatalf("at loss %g: %g after %g, ends %g and %g", float64(i)/400, got, prev, pts[0].SkinMMS, pts[n-1].SkinMMS)
			}
			prev = got
		}
	})
}

func TestPCHIPFritschCarlsonData(t *testing.T) {
	// The radiochemical data set RPN 14 of Fritsch & Carlson 1980, values from
	// memory. A plain cubic spline overshoots on it; the paper's point is that a
	// monotone cubic does not.
	x := []float64{7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20}
	y := []float64{0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.943740, 0.998636, 0.999919, 0.999994}
	p := newPCHIP(x, y)
	prev := math.Inf(-1)
	for i := range 5001 {
		got := p.at(7.9 + 12.2*float64(i)/5000)
		if got < prev || got < 0 || got > 0.999994 {
			t.Fatalf("at %g: %g after %g: overshoot or reversal", 7.9+12.2*float64(i)/5000, got, prev)
		}
		prev = got
	}
	// Monotonicity region of the paper: each end slope at most three secants.
	for i := range len(x) - 1 {
		d := (y[i+1] - y[i]) / (x[i+1] - x[i])
		for _, s := range []float64{p.slope[i], p.slope[i+1]} {
			if s < 0 || s > 3*d*(1+1e-12) {
				t.Errorf("piece %d: slope %g outside 0..3 secants (%g)", i, s, 3*d)
			}
		}
	}
}

func TestPCHIPEqualSpacing(t *testing.T) {
	// With equal steps the Fritsch-Butland slope is the harmonic mean of the two
	// secants, and zero at a local extreme. Secants 2, 3, -4, -2, -3.
	p := newPCHIP([]float64{1, 2, 3, 4, 5, 6}, []float64{16, 18, 21, 17, 15, 12})
	want := []float64{1.5, 2.4, 0, -8.0 / 3, -2.4, -3.5}
	if got := p.slope[:6]; !slices.EqualFunc(got, want, func(a, b float64) bool { return math.Abs(a-b) < 1e-12 }) {
		t.Errorf("slopes: got %v, want %v", got, want)
	}
}

func TestPCHIPEndSlopeIsHeldBack(t *testing.T) {
	// Secants 1 and -11: the three-point estimate is 7, but above three secants
	// the first piece would overshoot (Fritsch & Carlson 1980, from memory).
	p := newPCHIP([]float64{0, 1, 2}, []float64{0, 1, -10})
	near(t, "first slope", p.slope[0], 3, 0)
}

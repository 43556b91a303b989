package point_test

import (
	"math"
	"testing"

	"drumwright/io/point"

	"pgregory.net/rapid"
)

func reading(v float64) point.Value { return point.Value{V: v, Quality: point.Good} }

// The least-squares slope of v = t² over n+1 points at k·h, ending at time T, is
// 2T − n·h exactly: the slope of a parabola's best line is its derivative at the
// middle (worked out by hand).
func TestSlopeOfAParabola(t *testing.T) {
	s := point.NewSlope(3)
	for k := range 100 {
		now := float64(k) * 0.1
		s.Add(now, reading(now*now))
		if k < 30 {
			continue
		}
		if got, ok := s.PerS(); !ok || math.Abs(got-(2*now-3)) > 1e-9 {
			t.Fatalf("at %v s: %v %v, want %v", now, got, ok, 2*now-3)
		}
	}
}

// NIST StRD "Norris" is too wide for 64 samples in a span; four points with
// uneven times do: t = 0, 0.5, 1.5, 2 and v = 1, 2, 3, 5 have the means 1 and
// 2.75 and the slope (1.75+0.375+0.125+2.25)/(1+0.25+0.25+1) = 1.8 (worked out
// by hand).
func TestSlopeOfUnevenTimes(t *testing.T) {
	s := point.NewSlope(3)
	for i, at := range []float64{1e6, 1e6 + 0.5, 1e6 + 1.5, 1e6 + 2} {
		s.Add(at, reading([]float64{1, 2, 3, 5}[i]))
	}
	if got, ok := s.PerS(); !ok || math.Abs(got-1.8) > 1e-9 {
		t.Errorf("%v %v, want 1.8", got, ok)
	}
}

func TestSlopeAtEveryScan(t *testing.T) {
	for _, dt := range []float64{0.01, 0.02, 0.1, 0.2, 1} {
		s := point.NewSlope(3)
		for n := range int(20 / dt) {
			s.Add(float64(n)*dt, reading(20+0.7*float64(n)*dt))
		}
		if got, ok := s.PerS(); !ok || math.Abs(got-0.7) > 1e-9 {
			t.Errorf("scan %v s: %v %v, want 0.7", dt, got, ok)
		}
	}
}

func TestSlopeNeedsHalfItsSpan(t *testing.T) {
	s := point.NewSlope(3)
	for k := range 16 {
		s.Add(float64(k)*0.1, reading(float64(k)))
		if _, ok := s.PerS(); ok != (k == 15) {
			t.Fatalf("after %v s: %v", float64(k)*0.1, ok)
		}
	}
	// Without usable values the rate is gone after half the span, not kept.
	for k := range 40 {
		now := 1.5 + 0.1*float64(k+1)
		v := point.Value{V: 999, Quality: point.Bad}
		switch k % 3 {
		case 1:
			v = reading(math.NaN())
		case 2:
			v = reading(math.Inf(1))
		}
		s.Add(now, v)
		if got, ok := s.PerS(); ok != (k < 15) || ok && math.Abs(got-10) > 1e-9 {
			t.Fatalf("%v s after the last: %v %v", 0.1*float64(k+1), got, ok)
		}
	}
}

// A uniform shift of time and value changes nothing, and a line gives its rate.
func TestSlopeOfAnyLine(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rate := rapid.Float64Range(-50, 50).Draw(t, "rate")
		now := rapid.Float64Range(0, 1e6).Draw(t, "start")
		s := point.NewSlope(3)
		start := now
		for range rapid.IntRange(60, 200).Draw(t, "samples") {
			now += rapid.Float64Range(0.03, 0.4).Draw(t, "gap")
			s.Add(now, reading(rate*(now-start)))
		}
		if got, ok := s.PerS(); !ok || math.Abs(got-rate) > 1e-6*(1+math.Abs(rate)) {
			t.Fatalf("%v %v, want %v", got, ok, rate)
		}
	})
}

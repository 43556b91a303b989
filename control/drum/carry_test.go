package drum

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestSlideElevation(t *testing.T) {
	// phi + asin(Fr cos phi), computed independently (Python, double precision).
	for _, c := range []struct{ phi, fr, want float64 }{
		{15, 0.05, 17.8}, {20, 0.09, 24.9}, {25, 0.13, 31.8}, {30, 0.19, 39.5}, {35, 0.25, 46.8}, {25, 0.187, 34.76},
	} {
		near(t, "slide", degrees(SlideElevationRad(radians(c.phi), c.fr)), c.want, 0.06)
	}
}

func TestFlightRepose(t *testing.T) {
	// Kinetic angle of repose of a flight, friction 0.70: Schofield & Glikin 1962
	// (original not seen, form from memory), values computed independently
	// (Python, double precision).
	for _, c := range []struct{ nu, th, want float64 }{
		{0.09, 0, 40.1}, {0.09, 30, 39.7}, {0.09, 60, 37.8}, {0.09, 90, 35.0}, {0.09, 120, 32.2},
		{0.19, 0, 45.7}, {0.19, 30, 45.3}, {0.19, 60, 41.5}, {0.19, 90, 35.0}, {0.19, 120, 28.5},
		{0.25, 0, 49.0}, {0.25, 30, 48.9}, {0.25, 60, 44.1}, {0.25, 90, 35.0}, {0.25, 120, 25.9},
	} {
		near(t, "repose", degrees(FlightReposeRad(0.70, c.nu, radians(c.th))), c.want, 0.06)
	}
	// A standing flight has the static angle, whatever its place.
	near(t, "at rest", FlightReposeRad(0.7, 0, 1), math.Atan(0.7), 1e-12)
	// A radial paddle sheds where its own slope is that angle.
	rapid.Check(t, func(t *rapid.T) {
		phi := rapid.Float64Range(0.1, 0.7).Draw(t, "phi")
		nu := rapid.Float64Range(0, 0.4).Draw(t, "nu")
		th := SlideElevationRad(phi, nu)
		if got := FlightReposeRad(math.Tan(phi), nu, th); math.Abs(got-th) > 1e-9 {
			t.Fatalf("sheds at %g, slope there %g", th, got)
		}
	})
}

func TestWall(t *testing.T) {
	// sin psi = Fr, and phi + asin(Fr sin phi): computed independently (Python).
	for _, c := range []struct{ fr, want float64 }{{0.287, 16.7}, {0.216, 12.5}, {0.137, 7.9}, {0.083, 4.8}} {
		near(t, "leaves a smooth wall", degrees(WallElevationRad(c.fr)), c.want, 0.06)
	}
	near(t, "creeps up", degrees(WallCarryRad(radians(25), 0.2)), 29.8, 0.06)
	near(t, "is pinned", degrees(WallElevationRad(1.2)), 90, 1e-9)
}

// Landing of the last bean off a radial paddle of 20 mm, bed at 40 degrees:
// computed independently (Python, double precision, semi-implicit Euler with
// steps of 10 us) from the stated equations.
func TestThrow(t *testing.T) {
	for _, c := range []struct {
		r, phi, v, eps, leave, x float64
		onBed                    bool
	}{
		{65, 20, 428, 61.4, 68.42, -39.76, false},
		{65, 20, 382, 65.0, 66.22, -33.34, false},
		{65, 20, 343, 68.9, 64.54, -27.34, true},
		{65, 20, 296, 74.4, 61.93, -17.99, true},
		{86.5, 25, 428, 46.8, 67.78, -43.95, false},
		{86.5, 25, 296, 55.8, 58.40, -26.22, false},
		{108, 25, 428, 36.0, 64.98, -46.72, false},
		{108, 25, 296, 42.6, 53.57, -22.20, false},
	} {
		s := section{radiusMM: c.r, tiltRad: radians(40), axisToBed: c.r * math.Cos(radians(c.eps)), skinMMS: c.v, friction: math.Tan(radians(c.phi)), paddleMM: 20}
		got := s.offPaddle(c.r)
		near(t, "leaves", degrees(got.LeaveElevationRad), c.leave, 0.3)
		near(t, "lands", got.Land.X, c.x, 0.3)
		if got.OnBed != c.onBed || (got.BeyondToeMM > 0) == c.onBed {
			t.Errorf("R %g, %g mm/s: on bed %v, beyond toe %g", c.r, c.v, got.OnBed, got.BeyondToeMM)
		}
		if end := math.Hypot(got.Land.X, got.Land.Y); !c.onBed && math.Abs(end-c.r) > 1e-6 {
			t.Errorf("lands at radius %g of %g", end, c.r)
		}
	}
}

// A bean thrown from the shoulder rises no higher than its speed allows, v²/2g:
// 9.3 mm at 428 mm/s and 4.5 at 296, worked by hand.
func TestShoulderThrow(t *testing.T) {
	for v, most := range map[float64]float64{428: 9.34, 296: 4.47} {
		s := section{radiusMM: 86.5, tiltRad: radians(40), axisToBed: 59.2, skinMMS: v, friction: 0.4, shoulderUp: radians(40 + 46.8 - 90)}
		got := s.offShoulder()
		if rise := got.HighestMM - got.Leave.Y; rise <= 0 || rise > most {
			t.Errorf("at %g mm/s: rises %g mm, at most %g", v, rise, most)
		}
	}
}

// Whatever the drum, a throw is finite, ends within the drum and starts above
// the bed.
func TestThrowProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rapid.Float64Range(30, 300).Draw(t, "radius")
		s := section{radiusMM: r, tiltRad: radians(rapid.Float64Range(10, 60).Draw(t, "tilt")), axisToBed: r * rapid.Float64Range(-0.2, 0.95).Draw(t, "bed"),
			skinMMS:  1000 * math.Sqrt(rapid.Float64Range(0.01, 0.7).Draw(t, "froude")*GravityMPerS2*r/1000),
			friction: rapid.Float64Range(0.1, 0.9).Draw(t, "mu"), paddleMM: r * rapid.Float64Range(0.05, 0.4).Draw(t, "paddle")}
		s.shoulderUp = s.tiltRad + s.halfAngle() - math.Pi/2
		for _, got := range []Throw{s.offPaddle(r), s.offPaddle(r - s.paddleMM), s.offShoulder()} {
			for _, v := range []float64{got.Leave.X, got.Land.X, got.Land.Y, got.BeyondToeMM, got.HighestMM, got.ShaftPassMM} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Fatalf("%+v", got)
				}
			}
			if d := math.Hypot(got.Land.X, got.Land.Y); d > r*1.02 {
				t.Fatalf("lands outside, at %g of %g: %+v", d, r, got)
			}
		}
	})
}

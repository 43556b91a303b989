package pid

import (
	"testing"
)

// Computed independently (Python) from the conversion as in Astrom & Hagglund
// 1995, ch. 3; the second row is the PID of Skogestad 2003, example E2.
func TestSeriesToIdeal(t *testing.T) {
	for _, tc := range []struct {
		s          Series
		kc, ti, td float64
	}{
		{Series{0.5, 1.5, 1}, 0.83333, 2.5, 0.6},
		{Series{1.299, 2, 1.2}, 2.07840, 3.2, 0.75},
		{Series{3, 7, 0}, 3, 7, 0},
		{Series{3, 0, 0}, 3, 0, 0},
	} {
		kc, ti, td := tc.s.Ideal()
		if !near(kc, tc.kc, 1e-5) || !near(ti, tc.ti, 1e-5) || !near(td, tc.td, 1e-5) {
			t.Errorf("%+v: got %g %g %g, want %g %g %g", tc.s, kc, ti, td, tc.kc, tc.ti, tc.td)
		}
	}
}

// Settings of Skogestad 2003 (from memory), tau_c = theta: example E2 with its
// half-rule models, an integrating process, E8.
func TestSIMC(t *testing.T) {
	for _, tc := range []struct {
		name string
		got  Series
		want Series
	}{
		{"E2 PI", SIMC(1, 2.5, 0, 1.47, 1.47), Series{0.8503, 2.5, 0}},
		{"E2 PID", SIMC(1, 2, 1.2, 0.77, 0.77), Series{1.2987, 2, 1.2}},
		{"lag-dominant", SIMC(1, 20, 0, 1, 1), Series{10, 8, 0}},
		{"integrating", SIMCIntegrating(1, 0, 1, 1), Series{0.5, 8, 0}},
		{"E8 PID", SIMCIntegrating(1, 1.5, 0.5, 0.5), Series{1, 4, 1.5}},
	} {
		if !near(tc.got.Kc, tc.want.Kc, 1e-4) || !near(tc.got.TiS, tc.want.TiS, 1e-9) || tc.got.TdS != tc.want.TdS {
			t.Errorf("%s: got %+v, want %+v", tc.name, tc.got, tc.want)
		}
	}
}

func TestRateLimit(t *testing.T) {
	for _, tc := range []struct{ from, to, step, want float64 }{
		{0, 10, 3, 3}, {0, -10, 3, -3}, {0, 2, 3, 2}, {5, 5, 0, 5}, {5, 9, 0, 5},
	} {
		if got := RateLimit(tc.from, tc.to, tc.step); got != tc.want {
			t.Errorf("from %g to %g by %g: got %g, want %g", tc.from, tc.to, tc.step, got, tc.want)
		}
	}
}

func TestSlopeOfARampIsItsRate(t *testing.T) {
	var s Slope
	for k := range 500 {
		s.Step(3+0.25*float64(k)*0.1, 2, 0.1)
	}
	if got := s.Step(3+0.25*500*0.1, 2, 0.1); !near(got, 0.25, 1e-9) {
		t.Errorf("slope %g, want 0.25 per s", got)
	}
	s.Unseat()
	if got := s.Step(-1000, 2, 0.1); got != 0 {
		t.Errorf("slope after a gap %g, want 0", got)
	}
}

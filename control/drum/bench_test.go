package drum

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

// smallSetup is a small drum with 250 g and beans that end at half of the green
// bulk density.
func smallSetup() Setup {
	return Setup{
		RadiusMM: Figure{Value: 65}, LengthMM: Figure{Value: 130}, SkinMMSPerHz: Figure{Value: 6.587}, PaddleMM: Figure{Value: 20}, ShaftMM: Figure{Value: 12}, Paddles: 4,
		BatchG: Figure{Value: 250}, GreenKgPerM3: Figure{Value: 700}, RoastedKgPerM3: Figure{Value: 350}, TiltDeg: Figure{Value: 40}, FrictionDeg: Figure{Value: 20},
		BaseHz: 50, MinHz: 20, MaxHz: 70,
	}
}

func work(t testing.TB, s Setup, loss, v float64) *StageResult {
	t.Helper()
	r, err := s.Work(Stage{Name: "s", LossFrac: loss, SkinMMS: Figure{Value: v}})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestStageOfTheSmallDrum(t *testing.T) {
	// Computed independently (Python, double precision) from the equations of the
	// segment, of the throw and of the conversions.
	r := work(t, smallSetup(), 0.20, 296)
	for q, want := range map[Quantity]struct{ v, tol float64 }{
		MassG: {200, 1e-9}, BulkKgPerM3: {350, 1e-9}, BedML: {571.43, 0.01}, DriveHz: {44.94, 0.01}, DrumRPM: {43.49, 0.01}, Froude: {0.1374, 1e-4},
		CriticalPercent: {37.07, 0.01}, FillPercent: {33.1, 0.06}, DepthMM: {47.5, 0.06}, ToeDeg: {-34.4, 0.06}, ShoulderDeg: {114.4, 0.06},
		TurnoverS: {0.49, 0.006}, LandingMM: {17.99, 0.3}, BeyondToeMM: {0, 0}, MotorTorquePercent: {100, 0}, LiftTorqueNM: {0.0469, 1e-3},
	} {
		near(t, q.Key(), r.Figures[q].Value, want.v, want.tol)
	}
	if r.Motion != Cataracting {
		t.Errorf("motion %v", r.Motion)
	}
	// Above base frequency: 50/65 of rated torque, 77 %.
	near(t, "torque left", work(t, smallSetup(), 0, 428).Figures[MotorTorquePercent].Value, 77, 0.1)
}

func TestMotionTable(t *testing.T) {
	// Limits after Mellmann 2001 (original not seen, from memory).
	for _, c := range []struct {
		fr   float64
		want Motion
	}{{0.005, Rolling}, {0.05, Cascading}, {0.2, Cataracting}, {0.99, Cataracting}, {1, Centrifuging}} {
		if got, lo, hi := MotionAt(c.fr); got != c.want || c.fr < lo || c.fr >= hi {
			t.Errorf("Froude %g: %v, %g to %g", c.fr, got, lo, hi)
		}
	}
}

// Linear cases have uncertainties that anyone can check: a relative uncertainty
// goes through a product unchanged, two add in squares (JCGM 100:2008, 5.1.6,
// from memory).
func TestUncertaintyOfStages(t *testing.T) {
	s := smallSetup()
	s.SkinMMSPerHz.Uncertainty = 0.02 * s.SkinMMSPerHz.Value
	s.BatchG.Uncertainty = 5
	r, err := s.Work(Stage{Name: "s", SkinMMS: Figure{Value: 400, Uncertainty: 12}})
	if err != nil {
		t.Fatal(err)
	}
	f := &r.Figures
	near(t, "mass", f[MassG].Uncertainty, 5, 1e-9)
	near(t, "rpm", f[DrumRPM].Uncertainty/f[DrumRPM].Value, 0.03, 1e-9)
	near(t, "Froude", f[Froude].Uncertainty/f[Froude].Value, 0.06, 1e-9)
	near(t, "Hz", f[DriveHz].Uncertainty/f[DriveHz].Value, math.Hypot(0.02, 0.03), 1e-4)
	if f[DepthMM].Uncertainty <= 0 || f[LandingMM].Uncertainty <= 0 {
		t.Error("an uncertainty is lost")
	}
}

// Anything that passes Check gives finite figures with finite uncertainties.
func TestStagesAreFinite(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		draw := func(name string, lo, hi float64) Figure {
			return Figure{Value: rapid.Float64Range(lo, hi).Draw(t, name), Uncertainty: rapid.Float64Range(0, 0.2*lo+0.01).Draw(t, name+" uncertainty")}
		}
		s := Setup{RadiusMM: draw("R", 40, 300), LengthMM: draw("L", 60, 600), SkinMMSPerHz: draw("k", 1, 20), ShaftMM: draw("shaft", 5, 20),
			BatchG: draw("batch", 50, 2000), GreenKgPerM3: draw("green", 600, 800), RoastedKgPerM3: draw("roasted", 250, 500), TiltDeg: draw("tilt", 20, 55),
			FrictionDeg: draw("friction", 15, 35), BaseHz: 50, MinHz: 20, MaxHz: 70}
		if rapid.Bool().Draw(t, "paddles") {
			s.Paddles, s.PaddleMM = 3, draw("paddle", 5, 18)
		}
		r, err := s.Work(Stage{Name: "s", LossFrac: rapid.Float64Range(0, 0.25).Draw(t, "loss"), SkinMMS: draw("v", 100, 600)})
		if err != nil {
			return // beans that do not fit
		}
		for q, f := range r.Figures {
			if math.IsNaN(f.Value+f.Uncertainty) || math.IsInf(f.Value+f.Uncertainty, 0) || f.Uncertainty < 0 {
				t.Fatalf("%s: %+v", Quantity(q).Key(), f)
			}
		}
	})
}

func TestSetupRefuses(t *testing.T) {
	for want, break_ := range map[string]func(*Setup){
		"drum radius":            func(s *Setup) { s.RadiusMM.Value = math.NaN() },
		"uncertainty of":         func(s *Setup) { s.LengthMM.Uncertainty = -1 },
		"paddles":                func(s *Setup) { s.Paddles = 0 },
		"roasted bulk":           func(s *Setup) { s.RoastedKgPerM3.Value = 800 },
		"drive":                  func(s *Setup) { s.MaxHz = 10 },
		"check batch mass":       func(s *Setup) { s.BatchG.Value = 5000 },
		"green mass is 10 g":     func(s *Setup) { s.BatchG.Value = 10 },
		"friction angle is 60 °": func(s *Setup) { s.FrictionDeg.Value = 60 },
	} {
		s := smallSetup()
		break_(&s)
		if _, err := s.Work(Stage{Name: "s", SkinMMS: Figure{Value: 400}}); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
	}
}

func TestSpeedLimits(t *testing.T) {
	s := smallSetup()
	r, err := s.SpeedLimits()
	if err != nil {
		t.Fatal(err)
	}
	// 20 Hz of the drive and 70 Hz bind; Froude 0.4 in this drum is 505 mm/s, by hand.
	near(t, "low", r.Low.SkinMMS, 20*6.587, 1e-9)
	near(t, "high", r.High.SkinMMS, 70*6.587, 1e-9)
	s.MaxHz = 120
	if r, err = s.SpeedLimits(); err != nil || !strings.Contains(r.High.By, "base frequency") {
		t.Errorf("%+v, %v", r, err)
	}
	s.RadiusMM.Value = 40
	s.PaddleMM.Value = 10
	if r, err = s.SpeedLimits(); err != nil || !strings.Contains(r.High.By, "Froude") {
		t.Errorf("%+v, %v", r, err)
	}
	low, high := r.Around(390)
	near(t, "sweep low", low, 0.85*390, 1e-9)
	near(t, "sweep high", high, r.High.SkinMMS, 1e-9)
	s.MinHz, s.MaxHz = 119, 120
	if _, err := s.SpeedLimits(); err == nil {
		t.Error("no speed is left, and nobody says so")
	}
}

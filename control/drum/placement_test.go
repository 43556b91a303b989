package drum

import (
	"math"
	"strings"
	"testing"
)

// Fraction of the difference that reaches the tip of a 1.5 mm sheath, and its
// response: computed independently (Python, double precision) from the fin
// equation and rho c d/(4 h).
func TestStem(t *testing.T) {
	for _, c := range []struct{ length, film, want float64 }{
		{10, 60, 0.54}, {15, 60, 0.31}, {15, 100, 0.18}, {15, 150, 0.11}, {20, 100, 0.082}, {25, 150, 0.015}, {30, 60, 0.049}, {30, 100, 0.017}, {40, 60, 0.014},
	} {
		s := Sheath{DiameterMM: 1.5, ImmersedMM: c.length, FilmWPerM2K: c.film, AlongWPerMK: SheathAlongWPerMK, HeatMJPerM3K: SheathHeatMJPerM3K}
		near(t, "share", s.StemShare(), c.want, 0.006)
	}
	for _, c := range []struct{ d, film, tau, length float64 }{{1.5, 60, 22.5, 0}, {1.5, 100, 13.5, 33}, {1.5, 150, 9, 0}, {1, 100, 9, 27}, {3, 100, 27, 47}, {6, 100, 54, 66}} {
		s := Sheath{DiameterMM: c.d, FilmWPerM2K: c.film, AlongWPerMK: SheathAlongWPerMK, HeatMJPerM3K: SheathHeatMJPerM3K, RatePerMinK: 10}
		near(t, "response", s.ResponseS(), c.tau, 0.01)
		near(t, "behind", s.BehindK(), c.tau/6, 0.01)
		if c.length > 0 {
			near(t, "length for 1 %", s.LengthMM(0.01), c.length, 0.6)
		}
	}
}

func testProbe() Probe {
	return Probe{SheathMM: Figure{Value: 1.5}, ImmersedMM: Figure{Value: 30}, FilmWPerM2K: Figure{Value: 100, Uncertainty: 40}, FaceLessBedK: Figure{Value: 30}, RatePerMinK: 10}
}

var testStages = []Stage{{Name: "green"}, {Name: "end", LossFrac: 0.2}}

// Greatest distance from the wall for a probe in the thinned green bed, at the
// tilt and off it by 10 and 15 degrees: computed independently (Python).
func TestBorderOfTheRegion(t *testing.T) {
	for _, c := range []struct{ r, l, at0, at10, at15 float64 }{
		{65, 130, 18.3, 17.6, 16.7}, {86.5, 150, 13.4, 12.2, 10.8},
	} {
		s := smallSetup()
		s.RadiusMM.Value, s.LengthMM.Value = c.r, c.l
		p, err := s.Put(testStages, testProbe())
		if err != nil {
			t.Fatal(err)
		}
		for _, b := range p.Region {
			switch math.Abs(b.AngleDeg - 40) {
			case 0:
				near(t, "at the tilt", b.ToMM, c.at0, 0.06)
			case 10:
				near(t, "off by 10", b.ToMM, c.at10, 0.06)
			case 15:
				near(t, "off by 15", b.ToMM, c.at15, 0.06)
			}
		}
		if !p.Possible || p.Shallowest != "green" || p.CoverThinMM.Value < CoverMM-1e-9 || p.Best.WallMM < WallClearMM {
			t.Errorf("%+v", p)
		}
	}
}

func TestPlacementOfAThinBed(t *testing.T) {
	s := smallSetup()
	s.RadiusMM.Value, s.LengthMM.Value = 108, 200
	s.TiltDeg.Uncertainty = 10
	p, err := s.Put(testStages, testProbe())
	if err != nil {
		t.Fatal(err)
	}
	// 250 g in this drum: a thinned bed of 16.2 mm, hardly a place.
	near(t, "thinned depth", p.ThinDepthMM.Value, 16.2, 0.06)
	if p.Possible || len(p.Remarks) == 0 || !strings.Contains(p.Remarks[0], "only while the bed lies at the tilt given") {
		t.Errorf("%+v", p)
	}
	s.BatchG.Value = 150
	if p, err = s.Put(testStages, testProbe()); err != nil {
		t.Fatal(err)
	}
	if p.Possible || !strings.Contains(p.Remarks[0], "no place is covered") {
		t.Errorf("%+v", p.Remarks)
	}
	// The least batch is the one whose thinned bed is just deep enough.
	s.BatchG.Value = p.LeastBatchG.Value
	if p, err = s.Put(testStages, testProbe()); err != nil {
		t.Fatal(err)
	}
	near(t, "depth of the least batch", p.ThinDepthMM.Value, WallClearMM+CoverMM, 1e-6)
}

// Every place of the region is under beans at every stage and every tilt within
// its uncertainty.
func TestRegionIsCovered(t *testing.T) {
	s := smallSetup()
	s.TiltDeg.Uncertainty = 8
	p, err := s.Put(testStages, testProbe())
	if err != nil {
		t.Fatal(err)
	}
	if !p.Possible {
		t.Fatal("no region")
	}
	for _, st := range testStages {
		for _, tilt := range []float64{32, 40, 48} {
			b := bedOf(65, 130, 250, 700, 350, st.LossFrac, AbsentShare)
			for _, at := range append(p.Region, Border{p.Best.AngleDeg, 0, p.Best.WallMM}) {
				if c := cover(&b, tilt, Place{at.AngleDeg, at.ToMM}); c < CoverMM-1e-9 {
					t.Errorf("%s, tilt %g: %+v has %g mm of beans over it", st.Name, tilt, at, c)
				}
			}
		}
	}
}

func TestPlacementSpeaksOfPaddles(t *testing.T) {
	s := smallSetup()
	p := testProbe()
	for gap, want := range map[float64]string{0: "gap between face and paddles is not given", 20: "leaves 5 mm for the probe", 60: "paddles pass this place"} {
		p.GapMM = gap
		out, err := s.Put(testStages, p)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(strings.Join(out.Remarks, "\n"), want) {
			t.Errorf("gap %g: %q", gap, out.Remarks)
		}
	}
	p.SheathMM.Value = 0
	if _, err := s.Put(testStages, p); err == nil || !strings.Contains(err.Error(), "sheath diameter") {
		t.Error(err)
	}
}

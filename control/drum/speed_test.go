package drum

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// tradePoints are the usual speeds of a 250 g roast: common practice, no source.
// The mm/s and the Hz column were both given, rounded to whole numbers.
var tradePoints = [...]struct {
	stage         string
	massG, hz, vv float64
}{
	{"green", 250, 65, 428},
	{"first crack", 235, 58, 382},
	{"late first crack", 220, 52, 343},
	{"end of second crack", 200, 45, 296},
}

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.6g, want %.6g within %g", what, got, want, tol)
	}
}

func TestTradeSpeedsAreOneConstantTimesHz(t *testing.T) {
	// 6.5865 is the least-squares constant through the four points, and
	// 6.5865..6.5889 the only range in which all four round to the trade's
	// whole mm/s; both computed independently (Python, double precision).
	d, err := NewDrive(86.5, 6.587)
	if err != nil {
		t.Fatal(err)
	}
	var hv, hh float64
	for _, p := range tradePoints {
		t.Run(p.stage, func(t *testing.T) {
			if got := math.Round(d.SkinFromHz(p.hz)); got != p.vv {
				t.Errorf("skin speed at %g Hz: got %g mm/s, want %g", p.hz, got, p.vv)
			}
			if got := math.Round(d.HzFromSkin(p.vv)); got != p.hz {
				t.Errorf("frequency for %g mm/s: got %g Hz, want %g", p.vv, got, p.hz)
			}
		})
		hv += p.hz * p.vv
		hh += p.hz * p.hz
	}
	near(t, "least-squares constant", hv/hh, 6.5865, 5e-5)
}

func TestFroudeByRadius(t *testing.T) {
	// Computed independently (Python, double precision) from v²/(gR), g 9.81.
	for _, c := range []struct{ radius, nc, rpmGreen, rpmEnd, frGreen, frFC, frLate, frEnd float64 }{
		{65, 117, 62.9, 43.5, 0.287, 0.229, 0.185, 0.137},
		{86.5, 102, 47.2, 32.7, 0.216, 0.172, 0.139, 0.103},
		{108, 91, 37.8, 26.2, 0.173, 0.138, 0.111, 0.083},
	} {
		d, err := NewDrive(c.radius, 6.587)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "critical rpm", d.CriticalRPM(), c.nc, 0.5)
		near(t, "green rpm", d.RPMFromSkin(428), c.rpmGreen, 0.05)
		near(t, "end rpm", d.RPMFromSkin(296), c.rpmEnd, 0.05)
		near(t, "green Froude", d.Froude(428), c.frGreen, 6e-4)
		near(t, "first crack Froude", d.Froude(382), c.frFC, 6e-4)
		near(t, "late Froude", d.Froude(343), c.frLate, 6e-4)
		near(t, "end Froude", d.Froude(296), c.frEnd, 6e-4)
		// By definition the wall holds everything at the critical speed.
		near(t, "Froude at critical speed", d.Froude(d.SkinFromRPM(d.CriticalRPM())), 1, 1e-9)
	}
}

func TestConversionsRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Drive{
			RadiusMM:     rapid.Float64Range(20, 500).Draw(t, "radius"),
			SkinMMSPerHz: rapid.Float64Range(0.5, 50).Draw(t, "constant"),
		}
		v := rapid.Float64Range(1, 2000).Draw(t, "skin")
		if got := d.SkinFromHz(d.HzFromSkin(v)); math.Abs(got-v) > 1e-9*v {
			t.Fatalf("through Hz: %g became %g", v, got)
		}
		if got := d.SkinFromRPM(d.RPMFromSkin(v)); math.Abs(got-v) > 1e-9*v {
			t.Fatalf("through rpm: %g became %g", v, got)
		}
		if d.Froude(2*v) <= d.Froude(v) {
			t.Fatalf("Froude does not rise with speed at %g mm/s", v)
		}
	})
}

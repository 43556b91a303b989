package drum

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestBedWorkedValues(t *testing.T) {
	// 250 g at 700 kg/m3, swelling to 1.6 of the green volume; computed
	// independently (Python, double precision) from the segment equations.
	for _, c := range []struct {
		name                                      string
		r, l, swell, fill, epsDeg, h, chord, cent float64
		v, qCM2, turnS                            float64
	}{
		{"small green", 65, 130, 1, 0.207, 61.4, 33.8, 114, 45.1, 428, 107, 0.26},
		{"small end", 65, 130, 1.6, 0.331, 74.4, 47.5, 125, 37.2, 296, 89, 0.49},
		{"middle green", 86.5, 150, 1, 0.101, 46.8, 27.3, 126, 70.3, 428, 98, 0.24},
		{"middle end", 86.5, 150, 1.6, 0.162, 55.8, 37.9, 143, 64.1, 296, 88, 0.43},
		{"large green", 108, 200, 1, 0.049, 36.0, 20.7, 127, 95.7, 428, 80, 0.22},
		{"large end", 108, 200, 1.6, 0.078, 42.6, 28.5, 146, 91.1, 296, 73, 0.39},
	} {
		t.Run(c.name, func(t *testing.T) {
			b, err := NewBed(c.r, c.l, 250/0.7*c.swell)
			if err != nil {
				t.Fatal(err)
			}
			near(t, "fill", b.FillFrac, c.fill, 6e-4)
			near(t, "half-angle deg", b.HalfAngleRad*180/math.Pi, c.epsDeg, 0.06)
			near(t, "depth", b.DepthMM, c.h, 0.06)
			near(t, "chord", b.ChordMM, c.chord, 0.6)
			near(t, "centroid", b.CentroidMM, c.cent, 0.06)
			near(t, "circulation cm2/s", b.CirculationMM2PerS(c.v)/100, c.qCM2, 0.6)
			near(t, "turnover", b.TurnoverS(c.v), c.turnS, 0.006)
		})
	}
}

func TestHalfFullDrum(t *testing.T) {
	// A half disc: depth is the radius and the centroid is 4R/(3 pi) from the
	// centre, as in any table of centroids.
	b, err := NewBed(100, 1000, math.Pi*100*100*1000/2/1000)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "depth", b.DepthMM, 100, 1e-9)
	near(t, "centroid", b.CentroidMM, 400/(3*math.Pi), 1e-9)
}

func TestBedRefuses(t *testing.T) {
	for _, c := range [][3]float64{{0, 100, 1}, {100, math.NaN(), 1}, {100, 100, 0}, {100, 100, 3142}, {100, 100, math.NaN()}} {
		if _, err := NewBed(c[0], c[1], c[2]); err == nil {
			t.Errorf("radius %g, length %g, bed %g ml: accepted", c[0], c[1], c[2])
		}
	}
}

func TestHalfAngleInvertsFill(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		fill := rapid.Float64Range(1e-6, 1-1e-6).Draw(t, "fill")
		e := halfAngle(fill)
		if back := (2*e - math.Sin(2*e)) / (2 * math.Pi); math.Abs(back-fill) > 1e-12 {
			t.Fatalf("fill %g gives half-angle %g, which gives %g", fill, e, back)
		}
	})
}

package report

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestFit(t *testing.T) {
	long := make([]float64, 100) // 0, 1 … 98 and one plunge
	for i := range long {
		long[i] = float64(i)
	}
	long[99] = -500
	near := func(a, b float64) bool { return math.Abs(a-b) < 1e-9 }
	for _, c := range []struct {
		name    string
		v       []float64
		typical bool
		least   float64
		lo, hi  float64
	}{
		{"nothing known", []float64{math.NaN()}, false, 10, 0, 10},
		{"room on both sides", []float64{100, 200}, false, 10, 96, 204},
		{"zero stays the foot", []float64{0, 100}, false, 10, 0, 104},
		{"flat", []float64{70, 70}, false, 10, 64.6, 75.4},
		{"flat at zero", []float64{0, 0}, false, 10, 0, 10.4},
		{"a plunge counts", long, false, 10, -500 - 0.04*598, 98 + 0.04*598},
		{"a plunge left out", long, true, 10, 2 - 0, 98 + 0.04*96},
		{"nothing far", long[:99], true, 10, 0, 98 + 0.04*98},
	} {
		lo, hi := fit([][]float64{c.v}, c.typical, c.least)
		if !near(lo, c.lo) || !near(hi, c.hi) {
			t.Errorf("%s: [%v, %v], want [%v, %v]", c.name, lo, hi, c.lo, c.hi)
		}
	}
}

func TestSpreadKeepsOrderAndDistance(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := rapid.SliceOfN(rapid.Float64Range(-20, 120), 0, 8).Draw(t, "want")
		got := spread(want, 12, 0, 100)
		for i := range got {
			if got[i] < -1e-9 || got[i] > 100+1e-9 {
				t.Fatalf("label %d at %v, outside", i, got[i])
			}
			for j := range got {
				if want[i] < want[j] && got[i] >= got[j] {
					t.Fatalf("labels %d and %d changed places: %v", i, j, got)
				}
				if i != j && math.Abs(got[i]-got[j]) < 12-1e-9 {
					t.Fatalf("labels %d and %d overlap: %v", i, j, got)
				}
			}
		}
	})
}

func TestSpreadLeavesAloneWhatFits(t *testing.T) {
	want := []float64{50, 10, 30}
	for i, y := range spread(want, 12, 0, 100) {
		if y != want[i] {
			t.Errorf("label %d moved from %v to %v", i, want[i], y)
		}
	}
}

func TestRow(t *testing.T) {
	rows := make([][]span, 2)
	for i, c := range []struct {
		from, to float64
		want     int
	}{{0, 10, 0}, {10, 20, 0}, {5, 12, 1}, {8, 11, -1}, {12, 14, 1}} {
		if got := row(rows, c.from, c.to); got != c.want {
			t.Errorf("label %d in row %d, want %d", i, got, c.want)
		}
	}
}

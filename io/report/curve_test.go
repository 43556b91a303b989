package report

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

func same(v float64) float64 { return v }

func TestStretchesBreakWhereNothingIsKnown(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name string
		s, v []float64
		want [][]pt
	}{
		{"whole", []float64{0, 1, 2}, []float64{5, 6, 7}, [][]pt{{{0, 5}, {1, 6}, {2, 7}}}},
		{"NaN inside", []float64{0, 1, 2}, []float64{5, nan, 7}, [][]pt{{{0, 5}}, {{2, 7}}}},
		{"NaN at the ends", []float64{0, 1, 2}, []float64{nan, 6, nan}, [][]pt{{{1, 6}}}},
		{"infinite", []float64{0, 1, 2}, []float64{5, math.Inf(1), math.Inf(-1)}, [][]pt{{{0, 5}}}},
		{"one sample lost", []float64{0, 2}, []float64{5, 6}, [][]pt{{{0, 5}, {2, 6}}}},
		{"not recorded", []float64{0, 1, 10, 11}, []float64{5, 6, 7, 8}, [][]pt{{{0, 5}, {1, 6}}, {{10, 7}, {11, 8}}}},
		{"nothing", []float64{0, 1}, []float64{nan, nan}, nil},
		{"a real zero", []float64{0, 1}, []float64{0, 0}, [][]pt{{{0, 0}, {1, 0}}}},
	} {
		got := stretches(c.s, c.v, same, same)
		if !slices.EqualFunc(got, c.want, slices.Equal[[]pt]) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

// at is the height of the line at x.
func at(p []pt, x float64) float64 {
	for i := 1; i < len(p); i++ {
		if x <= p[i].x {
			a, b := p[i-1], p[i]
			return a.y + (b.y-a.y)*(x-a.x)/(b.x-a.x)
		}
	}
	return p[len(p)-1].y
}

func TestSimplifyStaysWithinEps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		eps := rapid.Float64Range(0.01, 2).Draw(t, "eps")
		dy := rapid.SliceOfN(rapid.Float64Range(-1, 1), 1, 200).Draw(t, "dy")
		var p []pt
		x, y := 0.0, 0.0
		for _, d := range dy {
			x, y = x+0.5+math.Abs(d), y+d
			p = append(p, pt{x, y})
		}
		thin := simplify(p, eps)
		if thin[0] != p[0] || thin[len(thin)-1] != p[len(p)-1] {
			t.Fatal("the ends moved")
		}
		for _, q := range p {
			if off := math.Abs(at(thin, q.x) - q.y); off > eps+1e-9 {
				t.Fatalf("at x %v the line is off by %v, more than %v", q.x, off, eps)
			}
		}
	})
}

func TestSimplifyKeepsCornersOnly(t *testing.T) {
	var p []pt
	for x := 0.0; x <= 100; x++ {
		p = append(p, pt{x, math.Abs(x - 40)})
	}
	want := []pt{{0, 40}, {40, 0}, {100, 60}}
	if got := simplify(p, 1e-6); !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

func TestClip(t *testing.T) {
	for _, c := range []struct {
		name string
		p    []pt
		want [][]pt
	}{
		{"inside", []pt{{0, 1}, {1, 9}}, [][]pt{{{0, 1}, {1, 9}}}},
		{"on the rim", []pt{{0, 0}, {1, 10}}, [][]pt{{{0, 0}, {1, 10}}}},
		{"out at the top and back", []pt{{0, 5}, {1, -5}, {2, 5}}, [][]pt{{{0, 5}, {0.5, 0}}, {{1.5, 0}, {2, 5}}}},
		{"right across downwards", []pt{{0, -10}, {3, 20}}, [][]pt{{{1, 0}, {2, 10}}}},
		{"right across upwards", []pt{{0, 20}, {3, -10}}, [][]pt{{{1, 10}, {2, 0}}}},
		{"all above", []pt{{0, -3}, {1, -1}}, nil},
		{"all below", []pt{{0, 13}, {1, 11}}, nil},
	} {
		if got := clip(c.p, 0, 10); !slices.EqualFunc(got, c.want, slices.Equal[[]pt]) {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
}

func TestClipNeverLeavesTheRims(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		ys := rapid.SliceOfN(rapid.Float64Range(-30, 30), 1, 60).Draw(t, "y")
		var p []pt
		inside := 0
		for i, y := range ys {
			p = append(p, pt{float64(i), y})
			if y >= 0 && y <= 10 {
				inside++
			}
		}
		for _, run := range clip(p, 0, 10) {
			for i, q := range run {
				if q.y < -1e-9 || q.y > 10+1e-9 {
					t.Fatalf("%v is outside", q)
				}
				if i > 0 && q.x < run[i-1].x {
					t.Fatalf("the line turns back at %v", q)
				}
				if off := math.Abs(at(p, q.x) - q.y); off > 1e-6 {
					t.Fatalf("%v is not on the line, by %v", q, off)
				}
				if q.x == math.Trunc(q.x) && slices.Contains(p, q) {
					inside--
				}
			}
		}
		if inside > 0 {
			t.Fatalf("%d points inside were lost", inside)
		}
	})
}

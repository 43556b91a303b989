package pid

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Whatever the duties, the on scans given differ from those asked for by no
// more than half the larger gap that minimum times or whole scans leave, for
// ever: the mean is exact. And no pulse is shorter than allowed.
func TestProportionerMeanIsExact(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		window := rapid.IntRange(2, 60).Draw(t, "window")
		minOn := rapid.IntRange(0, window/2).Draw(t, "min on")
		minOff := rapid.IntRange(0, window/2).Draw(t, "min off")
		p, err := NewProportioner(float64(window)*0.1, float64(minOn)*0.1, float64(minOff)*0.1, 0.1)
		if err != nil {
			t.Fatal(err)
		}
		duty := rapid.Float64Range(0.001, 1)
		bound := max(0.5, float64(minOn)/2, float64(minOff)/2) + 1e-6
		asked, given, run, state, runs := 0.0, 0.0, 0, false, 0
		for range rapid.IntRange(1, 80).Draw(t, "windows") {
			d := duty.Draw(t, "duty")
			asked += d * float64(window)
			for range window {
				on := p.Step(d)
				if on {
					given++
				}
				if on != state {
					if runs > 0 && state && run < minOn {
						t.Fatalf("on for %d scans, minimum is %d", run, minOn)
					}
					if runs > 0 && !state && run < minOff {
						t.Fatalf("off for %d scans, minimum is %d", run, minOff)
					}
					state, run = on, 0
					runs++
				}
				run++
			}
			if math.Abs(given-asked) > bound {
				t.Fatalf("%g scans given for %g asked, allowed difference %g", given, asked, bound)
			}
		}
	})
}

// 2 s window at 100 ms: 5 % steps; 33 % must come out as 33 % in the mean.
// Arithmetic, common practice, no source.
func TestProportionerPattern(t *testing.T) {
	p, err := NewProportioner(2, 0, 0, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	on := 0
	for range 100 * 20 {
		if p.Step(0.33) {
			on++
		}
	}
	if on != 660 {
		t.Errorf("%d of 2000 scans on at duty 0.33, want 660", on)
	}
}

func TestProportionerExtremes(t *testing.T) {
	p, err := NewProportioner(1, 0.3, 0.3, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	for range 50 {
		if !p.Step(1.5) {
			t.Fatal("off at a duty above 1")
		}
	}
	for _, d := range []float64{0, -1, math.NaN()} {
		if p.Step(d) {
			t.Fatalf("on at duty %g", d)
		}
	}
	p.Step(1)
	if p.Step(0) {
		t.Error("a duty of 0 must not wait for the minimum on time")
	}
	// Off early: the minimum off time is kept before it comes on again.
	for k, want := range []bool{false, false, true} {
		if got := p.Step(1); got != want {
			t.Errorf("scan %d after an early cut: %v, want %v", k, got, want)
		}
	}
}

func TestProportionerRefusesWhatCannotWork(t *testing.T) {
	for _, a := range [][4]float64{{1, 0, 0, 0}, {1, 0, 0, math.NaN()}, {0.1, 0, 0, 0.1}, {1, -1, 0, 0.1}, {1, 0.6, 0.6, 0.1}, {1, 0.55, 0.45, 0.1}, {math.Inf(1), 0, 0, 0.1}} {
		if _, err := NewProportioner(a[0], a[1], a[2], a[3]); err == nil {
			t.Errorf("window %g, minimum on %g, off %g, scan %g was accepted", a[0], a[1], a[2], a[3])
		}
	}
}

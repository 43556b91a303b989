package learn

import (
	"math"
	"testing"
)

// guarded plays a batch on a machine that obeys the error law, with a guard, and
// returns the rms of the probe's error from 130 s on and the share at the end.
func guarded(disturb func(float64) float64, rate []float64, share float64) (rmsC, shareEnd float64) {
	d := dynamics()
	var g Guard
	g.Start(share)
	const h = 0.1
	var late, bean, probe, sum float64
	n := 0
	for t := 0.0; t < 630; t += h {
		x := g.Step(&d, t, h, at(rate, t), -probe, t > 110, true)
		tauC, k2 := d.Gains.At(t)
		late += h / d.LookS * (x - late)
		bean += h * (late + disturb(t) - bean/tauC - k2*probe)
		probe += h / d.ProbeTauS * (bean - probe)
		if t > 130 {
			sum += probe * probe
			n++
		}
	}
	return math.Sqrt(sum / float64(n)), g.share
}

// A lesson that fits is let act; one of another coffee is withdrawn, so that it
// makes the batch worse by no more than a tenth of a degree.
func TestGuard(t *testing.T) {
	rate := Path{}.After(played(bump, nil), dynamics(), 220)
	rate = rate.After(played(bump, rate.RateKPerS), dynamics(), 220)
	alone, _ := guarded(bump, nil, 0)
	helped, _ := guarded(bump, rate.RateKPerS, 1)
	if helped > 0.35*alone {
		t.Errorf("with its lesson %.3f °C, without %.3f", helped, alone)
	}
	for name, other := range map[string]func(float64) float64{
		"nothing to correct":        func(float64) float64 { return 0 },
		"the opposite":              func(s float64) float64 { return -bump(s) },
		"something else":            func(s float64) float64 { return bump(s + 120) },
		"the opposite, three times": func(s float64) float64 { return -3 * bump(s) },
	} {
		alone, _ := guarded(other, nil, 0)
		with, _ := guarded(other, rate.RateKPerS, 1)
		if with > alone+0.1 {
			t.Errorf("%s: %.3f °C with the lesson, %.3f without", name, with, alone)
		}
	}
}

// Without anything seen the share stays as trusted; at a limit the rate does not act.
func TestGuardBlind(t *testing.T) {
	d := dynamics()
	var g Guard
	g.Start(0.7)
	for i := range 100 {
		if x := g.Step(&d, float64(i), 1, 0.01, math.NaN(), true, true); math.Abs(x-0.007) > 1e-12 {
			t.Fatalf("acts with %g", x)
		}
	}
	if x := g.Step(&d, 100, 1, 0.01, 0, false, false); x != 0 {
		t.Errorf("acts with %g at a limit", x)
	}
}

func BenchmarkGuard(b *testing.B) {
	d := dynamics()
	var g Guard
	g.Start(1)
	b.ReportAllocs()
	for b.Loop() {
		g.Step(&d, 300, 0.1, 0.01, 0.2, true, true)
	}
}

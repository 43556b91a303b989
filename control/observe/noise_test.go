package observe

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// What is found of readings whose noise is known. Independent readings: their
// variance. Readings that are off for some time tau together (a first-order process
// of variance s²): what a mean over a long time T varies by is 2 s² tau/T (textbook),
// so that much times T over the scan period is what one reading is worth. A parabola
// through 12 s takes the slower part of such bumps away: a tenth is left, which is
// still seventy times what independent readings make.
func TestProbeNoise(t *testing.T) {
	const white, tauS = 0.15, 3.0
	for _, c := range []struct{ bumpK, plungeK, scanS, lo, hi float64 }{
		{0, 0, 0.1, 0.7, 1.3}, {0, 0, 0.5, 0.7, 1.3}, {0, 115, 0.1, 0.7, 1.5}, {0, 115, 0.2, 0.7, 1.5},
		{0.5, 0, 0.1, 0.07, 1}, {0.5, 115, 0.2, 0.07, 1},
	} {
		var found []float64
		for seed := range uint64(31) {
			r := rand.New(rand.NewPCG(seed, 1))
			var p probeNoise
			bump, keep := 0.0, math.Exp(-c.scanS/tauS)
			for s := 0.0; s < 120; s += c.scanS {
				bump = keep*bump + c.bumpK*math.Sqrt(1-keep*keep)*r.NormFloat64()
				p.put(c.plungeK*math.Exp(-s/30)+0.35*s+bump+white*r.NormFloat64(), c.scanS, s)
			}
			found = append(found, p.variance(0, c.scanS, 120))
		}
		slices.Sort(found)
		want := white*white + 2*c.bumpK*c.bumpK*tauS/c.scanS
		if got := found[len(found)/2] / want; got < c.lo || got > c.hi {
			t.Errorf("%+v: found %.2f of %.3g K²", c, got, want)
		}
	}
}

// Less than the least is never found, a window is not read across a gap, readings
// count for little until they have been looked at, and where none come the least holds.
func TestProbeNoiseBounds(t *testing.T) {
	var p probeNoise
	if v := p.variance(0.025, 0.1, 20); math.Abs(v-noiseUnseenK2S/0.1) > 1e-12 {
		t.Errorf("before any look: %g K²", v)
	}
	if v := p.variance(0.025, 0.1, 120); v != 0.025 {
		t.Errorf("without any reading: %g K²", v)
	}
	for s := 0.0; s < 120; s += 0.1 {
		p.put(100+0.2*s, 0.1, s)
	}
	if v := p.variance(0.025, 0.1, 900); v != 0.025 {
		t.Errorf("of a straight line: %g K²", v)
	}
	p.pause()
	for s := 200.0; s < 260; s += 0.1 { // 80 K further on
		p.put(200+0.2*s, 0.1, s)
	}
	if v := p.variance(0.025, 0.1, 900); v != 0.025 {
		t.Errorf("across a gap: %g K²", v)
	}
	for s := 260.0; s < 900; s += 0.1 {
		p.put(200+80*math.Sin(s), 0.1, s)
	}
	if v := p.variance(0.025, 0.1, 900); v != noiseMaxK2 {
		t.Errorf("of readings that mean nothing: %g K²", v)
	}
}

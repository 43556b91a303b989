package control

import (
	"testing"

	"drumwright/io/point"
)

// A probe of 40 s lag in a small batch falls too slowly for the five seconds
// that tell a charge without a gate; with the gate open it may take its time.
func TestSlowProbeFalls(t *testing.T) {
	falls := func(rateKPerS, spanS float64) float64 {
		w := newChargeWatch(15, 0.1)
		for i := range 200 {
			s := float64(i) / 10
			w.add(s, point.Value{V: 190 - rateKPerS*s, Quality: point.Good}, spanS)
			if w.fell {
				return s
			}
		}
		return -1
	}
	if at := falls(2.5, plungeSpanS); at >= 0 {
		t.Errorf("a fall of 2.5 K/s counted as a plunge after %.1f s", at)
	}
	if at := falls(2.5, 60); at < 5.9 || at > 6.2 {
		t.Errorf("with the gate open a fall of 15 K at 2.5 K/s is seen after %.1f s, want 6", at)
	}
	if at := falls(5, plungeSpanS); at < 2.9 || at > 3.2 {
		t.Errorf("a fall of 5 K/s is seen after %.1f s, want 3", at)
	}
}

package control

import (
	"math"
	"testing"

	"drumwright/io/point"
)

// A probe of 40 s lag in a small batch falls too slowly for the five seconds
// that tell a charge without a gate; with the gate open it may take its time.
func TestSlowProbeFalls(t *testing.T) {
	falls := func(rateKPerS, spanS float64) float64 {
		w := newChargeWatch(15, plungeSpanS, 0.1)
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

// A probe that nears the charge's temperature in one time constant: beans at 95 °C
// by its lag, of which the first seconds show too little. What a held machine does
// by itself is no charge.
func TestSlowChargeIsSeen(t *testing.T) {
	sees := func(readC func(s float64) float64) (atS, beganS float64) {
		fast, slow := newChargeWatch(15, plungeSpanS, 0.1), newChargeWatch(slowPlunge*15, slowSpanS, 0.1)
		for i := range 1500 {
			s := float64(i) / 10
			x := point.Value{V: readC(s), Quality: point.Good}
			if fast.add(s, x, plungeSpanS); fast.fell {
				return s, fast.beganS
			}
			if slow.add(s, x, slowSpanS); slow.fell {
				return s, slow.beganS
			}
		}
		return -1, 0
	}
	falls := func(tauS float64) func(float64) float64 {
		return func(s float64) float64 { return 95 + 90*math.Exp(-math.Max(0, s-60)/tauS) }
	}
	for _, tauS := range []float64{10, 20, 30, 45, 60} {
		atS, beganS := sees(falls(tauS))
		if latest := 60 + 1 - tauS*math.Log(1-30.0/90); atS < 60 || atS > latest || beganS < 59 || beganS > 61.5 {
			t.Errorf("lag %.0f s: seen at %.1f s, allowed to %.1f s, began %.1f s", tauS, atS, latest, beganS)
		}
	}
	for name, readC := range map[string]func(float64) float64{
		"half a kelvin a second": func(s float64) float64 { return 250 - 0.5*s },
		"swings of 12 K":         func(s float64) float64 { return 180 + 12*math.Sin(s/10) },
		"a step of 14 K":         func(s float64) float64 { return 180 - 14*min(1, max(0, s-60)) },
	} {
		if atS, _ := sees(readC); atS >= 0 {
			t.Errorf("%s is taken for a charge at %.1f s", name, atS)
		}
	}
}

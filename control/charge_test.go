package control

import (
	"math"
	"strings"
	"testing"

	"drumwright/control/batch"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
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

// What the scale said is reckoned with in one batch and no more: by the estimator,
// which goes wrong with the recipe's mass, and in all that is told of the batch.
func TestWeighedChargeIsReckonedWith(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel()
	weighed := func(kg float64) Command {
		return Command{Command: record.Command{Kind: record.Weighed, Local: true}, GreenKg: kg}
	}
	heat := map[bool]float64{}
	for _, said := range []bool{false, true} {
		g := newRig(t, nil)
		if a := g.ask(weighed(0.8)); a.Accepted || !strings.Contains(a.Reason, "no recipe is loaded") {
			t.Fatalf("before a recipe: %+v", a)
		}
		g.to(batch.Ready)
		if a := g.ask(weighed(5)); a.Accepted || !strings.Contains(a.Reason, "5000 g: allowed is") {
			t.Fatalf("too much: %+v", a)
		}
		if said {
			if a := g.ask(weighed(0.8)); !a.Accepted || g.rec.Next != "Charge 800 g of green coffee." {
				t.Fatalf("%+v, %s", a, g.rec.Next)
			}
		}
		if err := g.plant.Charge(0.8, 0.11); err != nil {
			t.Fatal(err)
		}
		g.until(batch.Roasting, 20)
		if a := g.ask(weighed(0.9)); a.Accepted || !strings.Contains(a.Reason, "the beans are in") {
			t.Errorf("too late: %+v", a)
		}
		if want := map[bool]float64{false: 1, true: 0.8}[said]; g.rec.Batch.GreenKg != want || g.core.context(g.nowS).GreenKg != want {
			t.Errorf("reckoned with %g kg, want %g", g.rec.Batch.GreenKg, want)
		}
		g.roastTo(420)
		heat[said] = g.rec.Bean.HeatFactor
		g.must(record.DropNow)
		g.plant.Drop()
		g.until(batch.Cooling, 60).must(record.CoolDone)
		g.until(batch.Ready, 900)
		if g.rec.Next != "Charge 1000 g of green coffee." {
			t.Errorf("the next batch: %s", g.rec.Next)
		}
	}
	// Told 1 kg, the estimator lays the quicker rise of 0.8 kg to the heat transfer.
	if !(math.Abs(math.Log(heat[true])) < math.Abs(math.Log(heat[false]))-0.05) {
		t.Errorf("heat factor with the weighed mass %.3f, with the recipe's %.3f", heat[true], heat[false])
	}
}

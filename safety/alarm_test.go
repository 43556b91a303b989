package safety_test

import (
	"math"
	"slices"
	"testing"

	"drumwright/io/point"
)

func TestWarnings(t *testing.T) {
	for _, f := range []fault{
		{id: "drum_slow", fromS: 5, toS: 9, on: func(r *rig) { r.share = 0.8 }, off: func(r *rig) { r.share = 1 }},
		broken(point.Exhaust, 1, "exhaust_probe"), broken(point.HeaterElement, 1, "element_probe"), broken(point.HighLimit, 1, "limit_probe"),
	} {
		r := newRig(t, fullMachine())
		r.roast()
		standing := func() bool { return slices.Contains(r.rec.Safety.Standing[:r.rec.Safety.NumStanding], f.id) }
		if f.quiet != nil {
			if f.quiet(r); standing() {
				t.Errorf("%s warns too soon", f.id)
			}
		}
		f.on(r)
		n := 0
		for ; !standing() && n < 200; n++ {
			r.scan()
		}
		if n--; n < int(f.fromS*10) || n > int(math.Max(f.fromS, f.toS)*10) {
			t.Errorf("%s warns after %d scans", f.id, n)
		}
		if r.g.Tripped() || !r.heating() || r.p.Value(point.Horn) != 0 {
			t.Errorf("%s does more than warn", f.id)
		}
		f.off(r)
		if r.runS(20); standing() {
			t.Errorf("%s stays", f.id)
		}
	}
}

func TestHornUntilSilencedAndAgain(t *testing.T) {
	r := newRig(t, fullMachine(), "bean_high")
	horn := func(want float64, when string) {
		t.Helper()
		if r.scan(); r.p.Value(point.Horn) != want {
			t.Errorf("horn is %v %s", r.p.Value(point.Horn), when)
		}
	}
	horn(1, "after a restart with a latch")
	r.g.Silence()
	horn(0, "when silenced")
	r.set(point.FireButton, 1)
	horn(1, "at a new trip")
	if r.rec.Safety.Trips != 1 || r.g.NumLatched() != 2 || r.g.First().ID != "bean_high" {
		t.Errorf("trips %d, first %s", r.rec.Safety.Trips, r.g.First().ID)
	}
}

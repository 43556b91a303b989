package safety_test

import (
	"testing"

	"drumwright/io/point"
)

// After a restart the drum may still be warm when everything else has cooled.
// Warm metal falls, a wrong scale does not: only the latter keeps heat back.
func TestWarmMetalIsNoWrongProbe(t *testing.T) {
	m := fullMachine()
	m.Batch.RunDownBelow = 120 // not a restart with a hot machine: that is another matter
	for _, c := range []struct {
		name   string
		fallK  float64 // per s
		stands bool
	}{{"cooling drum", 0.02, false}, {"probe in the wrong unit", 0, true}} {
		t.Run(c.name, func(t *testing.T) {
			r := newRig(t, m)
			r.set(point.DrumSkin, 100)
			r.ramp[point.DrumSkin] = -c.fallK
			r.runS(60)
			if got := r.rec.Alarms.Stands("cold_probes_apart"); got != c.stands {
				t.Errorf("cold_probes_apart stands: %v, want %v", got, c.stands)
			}
		})
	}
}

// Beans that leave cold bare the probe to hot air: it climbs as fast as in a
// fire, but from where nothing burns.
func TestBareProbeIsNoFire(t *testing.T) {
	r := newRig(t, fullMachine())
	r.w.Out[point.DrumRun], r.w.Out[point.DrumSpeed] = 1, 50
	r.w.Out[point.BlowerRun], r.w.Out[point.BlowerSpeed] = 1, 40
	r.runS(5)
	r.set(point.Bean, 100)
	r.runS(20)
	r.ramp[point.Bean] = 2.5
	r.runS(20) // to 150 °C
	if r.rec.Alarms.Stands("fire_in_drum") || r.g.Tripped() {
		t.Errorf("tripped by %s", r.rec.Safety.First)
	}
}

// A silent unit is unit_lost's business: it must not pass for a standing drum or
// a pressed stop, whose safe states stop a drum full of hot beans.
func TestSilenceIsNoStall(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.beans, r.sinceS = true, 300
	for i := range point.NumInputs {
		r.bad(i, point.Timeout, 2.1)
	}
	r.each = func(r *rig) {
		for i := range point.NumInputs {
			r.bad(i, point.Timeout, 2.1)
		}
	}
	r.runS(8)
	if r.rec.Safety.First != "unit_lost" || r.latched("drum_stall") || r.latched("drum_slip") || r.latched("emergency_stop") {
		t.Errorf("first cause %s, latched %v, want unit_lost first and nothing that stops the drum", r.rec.Safety.First, r.g.Latched())
	}
	if r.p.Value(point.DrumRun) < 0.5 {
		t.Error("the drum is told to stop though nobody knows that it stands")
	}
}

// Beans that go on climbing, long after heat and in colder air, heat themselves;
// beans that merely coast under the lag of their probe do not trip.
func TestBeansThatHeatThemselves(t *testing.T) {
	for _, c := range []struct {
		rateKPerS, airC float64
		trips           bool
	}{{0.4, 40, true}, {0.15, 40, false}, {0.4, 230, false}} {
		r := newRig(t, fullMachine())
		r.roast()
		r.sinceS = 600
		r.glide(point.Bean, 200)
		r.wishNoHeat()
		r.runS(25)
		r.set(point.InletAir, c.airC)
		r.runS(5)
		r.ramp[point.Bean] = c.rateKPerS
		r.runS(12)
		if got := r.rec.Alarms.Stands("fire_in_drum"); got != c.trips {
			t.Errorf("%.2f K/s in air of %.0f °C: fire_in_drum stands: %v, want %v", c.rateKPerS, c.airC, got, c.trips)
		}
	}
}

// After the inlet probe has failed and heat is off, a bean probe that still
// catches up is no fire: nothing says that the air is colder.
func TestUnknownAirIsNoFire(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.sinceS = 600
	r.glide(point.Bean, 200)
	r.wishNoHeat()
	r.runS(25)
	r.each = func(r *rig) { r.bad(point.InletAir, point.OpenProbe, 0) }
	r.ramp[point.Bean] = 0.4
	r.runS(12)
	if r.rec.Alarms.Stands("fire_in_drum") {
		t.Error("a slow rise in air that is not known stands as a fire")
	}
}

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

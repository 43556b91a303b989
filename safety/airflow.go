package safety

import (
	"drumwright/io/point"
	"drumwright/profiles"
)

// startShare is the share of the expected air flow that a blower must give
// before heat begins: backwards it gives less (estimate, common practice, no
// source).
const startShare = 0.7

// airShort is active when less air is measured than the blower should give, by
// the site's share.
func airShort(share func(*profiles.Limits) float64) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding { return g.airBelow(v, 1-share(&g.limits)) }
}

func (g *Gate) airBelow(v *view, share float64) finding {
	x := v.img.In[point.AirFlow]
	f := finding{unknown: unknown(x), value: x.V, limit: share * g.wantKgPerH, unit: "kg/h", detail: "air_flow"}
	f.active = sound(x) && x.V < f.limit
	return f
}

// airAtStart is active when a blower that is up gives too little before heat
// begins.
func airAtStart(g *Gate, v *view) finding {
	f := g.airBelow(v, startShare)
	f.active = f.active && g.blowerOnS >= blowerStartS && !g.heating
	return f
}

func provingStuck(g *Gate, v *view) finding {
	return finding{active: g.provingStuck, unknown: unknown(v.img.In[point.AirProving]), value: 1, detail: "air_proving"}
}

// fastShare is the share of its expected speed above which a drum is too fast
// (estimate, common practice, no source).
const fastShare = 1.2

// drumFast is active when the drum turns faster than told, or than its drive
// ever could.
func drumFast(g *Gate, v *view) finding {
	rpm, want := g.measuredRPM(v.img), g.expectedRPM()
	steady := g.drumSteadyS > max(drumStartS, 2*60/want)
	f := finding{value: rpm, limit: fastShare * want, unit: "rpm", detail: "drum"}
	if !steady {
		f.limit = fastShare * g.maxDrumHz * g.rpmPerHz
	}
	f.active = rpm > f.limit
	return f
}

func humming(g *Gate, _ *view) finding {
	return finding{active: g.humming, value: g.shaft.RPM(), unit: "rpm", detail: "drum_pulses"}
}

// Shares of the motor current with a full and with an empty drum beyond which
// the drum labours, or drives nothing (estimates, common practice, no source).
const (
	heavyShare = 1.3
	idleShare  = 0.8
)

func drumHeavy(g *Gate, v *view) finding {
	x := v.img.In[point.DrumCurrent]
	limit := heavyShare * float64(g.machine.Drum.FullA)
	if e := float64(g.machine.Drum.EmptyA); !v.BeansIn && e > 0 {
		limit = heavyShare * e
	}
	return finding{active: sound(x) && x.V > limit, unknown: unknown(x), value: x.V, limit: limit, unit: "A", detail: "drum_current"}
}

// drumIdle is active when the drive is up and its motor draws less than it needs
// for the empty drum.
func drumIdle(g *Gate, v *view) finding {
	x := v.img.In[point.DrumCurrent]
	limit := idleShare * float64(g.machine.Drum.EmptyA)
	return finding{active: sound(x) && x.V < limit && g.drumSteadyS > drumStartS, unknown: unknown(x), value: x.V, limit: limit, unit: "A", detail: "drum_current"}
}

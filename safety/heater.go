package safety

import (
	"math"

	"drumwright/io/point"
)

// Following of the heaters (estimates, common practice, no source).
const (
	leastDemand = 0.2
	openShare   = 0.8  // of the expected current
	halfLow     = 0.35 // of it: one half of the wave
	halfHigh    = 0.65
	excess      = 0.15   // of rated power above the demand
	apart       = 0.3    // of two demands that tell the heaters apart
	alike       = 0.1    // of a demand and a current that belong together
	warmShare   = 0.3    // of the expected heating of the air
	airJPerKgK  = 1020.0 // heat capacity of air at roasting temperatures; value from memory
)

// heaterOpen is active when a heater draws much less than it is told to.
func heaterOpen(k int) func(*Gate, *view) finding {
	return func(g *Gate, _ *view) finding {
		f := finding{value: 100 * g.drawnLately[k], limit: 100 * openShare * g.askedLately[k], unit: "%", detail: heaters[k].meter.String()}
		f.active = g.metered[k] && g.askedLately[k] >= leastDemand && f.value < f.limit
		f.unknown = !g.metered[k]
		return f
	}
}

// halfWave is active when a heater at a steady high demand draws about half.
func halfWave(k int) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		if !g.metered[k] {
			return finding{unknown: true, detail: heaters[k].meter.String()}
		}
		now := g.drawnNow(v, k)
		f := finding{value: 100 * now, limit: 100 * halfHigh * g.steadyC[k], unit: "%", detail: heaters[k].meter.String()}
		f.active = g.steadyC[k] >= 0.5 && g.steadyS[k] > outputSettle && now > halfLow*g.steadyC[k] && now < halfHigh*g.steadyC[k]
		return f
	}
}

// notFollowing is active when a heater draws more than it is told to.
func notFollowing(k int) func(*Gate, *view) finding {
	return func(g *Gate, _ *view) finding {
		f := finding{value: 100 * g.drawn[k], limit: 100 * (g.asked[k] + excess), unit: "%", detail: heaters[k].meter.String()}
		f.active = g.metered[k] && f.value > f.limit
		f.unknown = !g.metered[k]
		return f
	}
}

// heatersExchanged is active when two heaters that are asked for clearly
// different powers each draw the other's.
func heatersExchanged(g *Gate, _ *view) finding {
	a, d := g.askedLately, g.drawnLately
	f := finding{unknown: !g.metered[0] || !g.metered[1], value: 100 * d[0], limit: 100 * a[0], unit: "%", detail: "air_heater_current against its demand"}
	f.active = !f.unknown && math.Abs(a[0]-a[1]) > apart && math.Abs(d[0]-a[1]) < alike && math.Abs(d[1]-a[0]) < alike
	return f
}

// airNoHeat is active when the air is hardly warmer than the room though the
// air heater has been at work.
func airNoHeat(g *Gate, v *view) finding {
	x := v.img.In[point.InletAir]
	kgPerS := g.flowKgPerH(v) / 3600
	f := finding{unknown: unknown(x), value: x.V - v.roomC(), unit: "K", detail: "inlet_air over the room"}
	if !(kgPerS > 0) || !sound(x) || g.asked[0] < warmShare || g.heatOnS < 60 {
		return f
	}
	f.limit = warmShare * g.asked[0] * g.powerW[0] * g.airHeaterEff / (kgPerS * airJPerKgK)
	f.active = f.value < f.limit
	return f
}

// mainsLow is active when the mains are below their nominal voltage by the
// site's share.
func mainsLow(g *Gate, v *view) finding {
	x := v.img.In[point.MainsVoltage]
	f := finding{unknown: unknown(x), value: x.V, limit: (1 - float64(g.limits.MainsLow)) * g.ratedV, unit: "V", detail: "mains_voltage"}
	f.active = sound(x) && x.V < f.limit
	return f
}

package safety

import "drumwright/io/point"

// Current without command (estimates, common practice, no source). Rated
// current is rated power over the measured mains voltage, or over the rated one
// while that cannot be read; below a plausible voltage nothing can be said.
const (
	leakShare    = 0.05
	leastMainsV  = 50.0
	outputSettle = 0.5 // s that an output and its meter may take to follow
)

// leak says whether a heater's current is more than a share of its rated one.
func (g *Gate) leak(img *point.Image, heater int, meter point.Input) finding {
	mains, x := img.In[point.MainsVoltage], img.In[meter]
	volts := mains.V
	if !sound(mains) {
		volts = g.ratedV
	}
	if !(volts >= leastMainsV) {
		return finding{unknown: true, detail: point.MainsVoltage.String()}
	}
	limit := leakShare * g.powerW[heater] / volts
	return finding{active: sound(x) && x.V > limit, unknown: unknown(x), value: x.V, limit: limit, unit: "A", detail: meter.String()}
}

// airCurrentUnasked and radiantCurrentUnasked are active when current flows
// though the heater has been told to be off for longer than one of its windows:
// within a window a pause of an on/off output is too short to judge by.
func airCurrentUnasked(g *Gate, v *view) finding {
	f := g.leak(v.img, 0, point.AirHeaterCurrent)
	f.active = f.active && g.airOffS > max(outputSettle, g.windowS[0])
	return f
}

func radiantCurrentUnasked(g *Gate, v *view) finding {
	f := g.leak(v.img, 1, point.RadiantCurrent)
	f.active = f.active && g.radiantOffS > max(outputSettle, g.windowS[1])
	return f
}

// heatNotRemoved is active when current flows though the contactor is told to
// be open: switch and contactor are both closed against their command.
func heatNotRemoved(g *Gate, v *view) finding {
	f, r := g.leak(v.img, 0, point.AirHeaterCurrent), g.leak(v.img, 1, point.RadiantCurrent)
	r.unknown = r.unknown || f.unknown
	if f.active {
		r = f
	}
	r.active = r.active && g.contactorOff > outputSettle
	return r
}

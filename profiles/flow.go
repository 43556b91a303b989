package profiles

import "math"

// FlowKgPerS is the air mass flow, kg/s, at a blower frequency, Hz: linear
// between the points of the machine's table and from zero to its first point,
// constant beyond its last.
func (m *Machine) FlowKgPerS(hz float64) float64 {
	x0, y0 := 0.0, 0.0
	for i := range m.Air.Flow {
		x, y := float64(m.Air.Flow[i].Hz), float64(m.Air.Flow[i].Flow)
		if hz < x {
			return between(hz, x0, y0, x, y) / 3600
		}
		x0, y0 = x, y
	}
	return y0 / 3600
}

// BlowerHz is the blower frequency, Hz, for an air mass flow, kg/h: the inverse
// of FlowKgPerS, limited to the highest blower frequency of the machine.
func (m *Machine) BlowerHz(flowKgPerH float64) float64 {
	x0, y0 := 0.0, 0.0
	for i := range m.Air.Flow {
		x, y := float64(m.Air.Flow[i].Hz), float64(m.Air.Flow[i].Flow)
		if flowKgPerH < y {
			return math.Min(between(flowKgPerH, y0, x0, y, x), float64(m.Air.MaxHz))
		}
		x0, y0 = x, y
	}
	return math.Min(x0, float64(m.Air.MaxHz))
}

// between interpolates, and stays at the left end for x below it.
func between(x, x0, y0, x1, y1 float64) float64 {
	if !(x > x0) {
		return y0
	}
	return y0 + (y1-y0)*(x-x0)/(x1-x0)
}

// SkinMMPerSPerHz is the drum's skin speed, mm/s, for each Hz of the drive: as
// measured, else 4πR(1−s)/(p·i) from radius, slip, poles and gear ratio, which
// follows from the synchronous speed 120 f/p.
func (m *Machine) SkinMMPerSPerHz() float64 {
	d := &m.Drum
	if d.MMPerSPerHz > 0 {
		return d.MMPerSPerHz
	}
	if d.Poles <= 0 || d.GearRatio <= 0 {
		return 0
	}
	return 4 * math.Pi * 1000 * float64(d.RadiusM) * (1 - float64(d.Slip)) / (float64(d.Poles) * d.GearRatio)
}

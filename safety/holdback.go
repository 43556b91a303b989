package safety

import "drumwright/io/point"

// holdBack withholds heat for reasons that are no trip: conditions that heat
// needs and that are not there now. It returns the reason, or "" when heat is
// free to be used. A standing trip withholds heat too.
func (g *Gate) holdBack(p *Permit) string {
	if why := g.noHeat(p); why != "" {
		p.out[point.AirHeaterPower], p.out[point.RadiantPower], p.out[point.HeatEnable] = 0, 0, 0
		return why
	}
	if p.out[point.HeatEnable] < 0.5 { // no heat without the contactor, on machines without one too
		p.out[point.AirHeaterPower], p.out[point.RadiantPower] = 0, 0
	}
	if g.beanTooHot() { // the contactor stays closed: it must not chatter at the limit
		p.out[point.AirHeaterPower], p.out[point.RadiantPower] = 0, 0
		return "the bean probe is so hot that heat is withheld"
	}
	return ""
}

// heatBackK is how far the bean probe must fall below the limit before withheld
// heat comes back (estimate, common practice, no source).
const heatBackK = 3.0

func (g *Gate) beanTooHot() bool {
	x, limit := g.v.img.In[point.Bean], float64(g.limits.BeanHeatOff)
	if x.Usable() {
		g.tooHot = x.V >= limit || (g.tooHot && x.V > limit-heatBackK)
	}
	return g.tooHot
}

// noHeat names the first thing for which the contactor may not close. Once heat
// is on the table's rows, with their delays, decide about doubtful inputs: one
// missed reading must not open a contactor.
func (g *Gate) noHeat(p *Permit) string {
	if g.Tripped() {
		return "a trip stands"
	}
	if p.out[point.DrumRun] < 0.5 || p.out[point.DrumSpeed] <= 0 {
		return "the drum is not told to turn"
	}
	if p.out[point.BlowerRun] < 0.5 || p.out[point.BlowerSpeed] <= 0 {
		return "the blower is not told to run"
	}
	if g.heatOn() {
		return ""
	}
	img := g.v.img
	for i := range g.table {
		r := &g.table[i]
		if g.armed[i] && !r.Warn && (r.Arm == HeatOn || r.Arm == BeansHot) {
			if f := r.signal(g, &g.v); f.active {
				return r.Cause
			}
		}
	}
	for _, i := range [...]point.Input{point.Bean, point.InletAir, point.DrumSkin, point.EmergencyStopHealthy} {
		if q := img.In[i].Quality; q != point.Absent && q != point.Good {
			return "a needed input has no good value"
		}
	}
	if g.drumOnS < drumStartS || (g.hasShaft && g.shaft.RPM() <= 0) {
		return "the drum is not yet seen to turn"
	}
	if g.blowerOnS < blowerStartS {
		return "the blower is still starting"
	}
	if ok, why := g.airProven(img); !ok {
		return why
	}
	return ""
}

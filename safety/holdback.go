package safety

import (
	"strings"

	"drumwright/io/point"
)

// holdBack withholds heat for reasons that are no trip: conditions that heat
// needs and that are not there now. It returns the reason, or "" when heat is
// free to be used. A standing trip withholds heat too.
func (g *Gate) holdBack(p *Permit) string {
	tooHot := g.beanTooHot()
	if why := g.noHeat(p); why != "" {
		p.out[point.AirHeaterPower], p.out[point.RadiantPower], p.out[point.HeatEnable] = 0, 0, 0
		return why
	}
	if p.out[point.HeatEnable] < 0.5 { // no heat without the contactor, on machines without one too
		p.out[point.AirHeaterPower], p.out[point.RadiantPower] = 0, 0
	}
	// From here on the contactor stays closed: it must not chatter at a limit.
	if tooHot {
		p.out[point.AirHeaterPower], p.out[point.RadiantPower] = 0, 0
		return "the bean probe is so hot that heat is withheld"
	}
	if p.out[point.BlowerSpeed] < g.minBlowerHz*(1-1e-9) && p.out[point.AirHeaterPower] > 0 {
		p.out[point.AirHeaterPower] = 0
		return "the blower is told to give less air than the air heater needs"
	}
	return ""
}

// heatBackK is how far the bean probes must fall below the limit before withheld
// heat comes back (estimate, common practice, no source).
const heatBackK = 3.0

func (g *Gate) beanTooHot() bool {
	limit := float64(g.limits.BeanHeatOff)
	over, under := false, false
	for _, i := range [...]point.Input{point.Bean, point.Bean2} {
		if x := g.v.img.In[i]; sound(x) {
			over = over || x.V >= limit || (g.tooHot && x.V > limit-heatBackK)
			under = true
		}
	}
	if over || under { // with no probe to be read it stays as it was
		g.tooHot = over
	}
	return g.tooHot
}

// noHeat names the first thing for which the contactor may not close. While it
// is closed the table's rows, with their delays, decide about doubtful inputs:
// one missed reading must not open a contactor. Once it has been opened, for
// whatever reason, everything must be proven again.
func (g *Gate) noHeat(p *Permit) string {
	switch {
	case g.Tripped():
		return "a trip stands"
	case g.fresh:
		return "not every temperature has been read since the start"
	case g.anew:
		return "heat must be asked for anew after a start or a trip"
	case !g.turning(&p.out):
		return "the drum is not told to turn"
	case p.out[point.BlowerRun] < 0.5 || p.out[point.BlowerSpeed] <= 0:
		return "the blower is not told to run"
	case g.last[point.HeatEnable] >= 0.5:
		return ""
	case g.v.Barred != "" && !g.v.BeansIn:
		return g.v.Barred
	}
	img := g.v.img
	for i := range g.table {
		r := &g.table[i]
		if g.covered[i] && !g.isExcepted(i) && (!r.Warn || r.Hold) && (r.Arm == HeatOn || r.Arm == BeansHot || r.Arm == Always) {
			if f := r.signal(g, &g.v); f.active {
				return r.Cause
			}
		}
	}
	for i := range point.NumInputs {
		if q := img.In[i].Quality; !spared[i] && q != point.Absent && q != point.Good {
			return unread[i]
		}
	}
	if g.drumOnS < drumStartS || !g.drumSeen(img) {
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

// drumSeen reports whether every device that can tell sees the drum turn.
func (g *Gate) drumSeen(img *point.Image) bool {
	if s := img.In[point.DrumStatus]; s.Quality != point.Absent && !(sound(s) && s.V == point.DriveRunning) {
		return false
	}
	if g.hasShaft || img.Has(point.DrumTurning) {
		return g.measuredRPM(img) > 0
	}
	return true
}

// unread says of each input that heat must not begin without it, made once: a scan
// makes no texts.
var unread = func() (t [point.NumInputs]string) {
	for i := range t {
		t[i] = strings.ReplaceAll(point.Input(i).String(), "_", " ") + " has no good value"
	}
	return t
}()

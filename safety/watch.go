package safety

import (
	"math"

	"drumwright/io/point"
)

// watch is what the rows beyond limits and losses remember: how long things
// have been off, what was seen meanwhile, and how values moved together.
type watch struct {
	blowerOffS   float64 // time for which each is known to be commanded off
	drumOffS     float64
	provingOnS   float64 // air proven by a switch though the blower has long been off
	provingStuck bool    // until the switch is seen off
	humming      bool    // shaft pulses though the drum has long been off, until it is seen quiet
	wantKgPerH   float64 // air flow that can be expected, behind the blower's command

	heated   bool // heat has been permitted since the start
	heatOnS  float64
	heatOffS float64

	asked, drawn [2]float64 // share of rated power of air heater and panels, over followS
	metered      [2]bool    // whether drawn can be known now
	steadyC      [2]float64 // demand that has been steady, and for how long
	steadyS      [2]float64

	// The same over latelyS, or over two and a half of an output's windows.
	askedLately, drawnLately [2]float64

	jumps      [len(jumpy)]jumps
	shift      shift
	charge     chargeMemory
	airBalance airBalance
	skinRise   skinRise
	trend      [len(compared)]point.Slope // of the probes that agree in a cold machine, before its first heat
	peakC      float64                    // of the bean probe late in the roast, while hotter air blows on the beans
}

// followS is the time over which demand and current are compared, s; latelyS is
// that over which an output that is not switched in windows is, where the loss of
// an element must show at once.
const (
	followS = 5.0
	latelyS = 0.3
)

// heaters are the outputs and meters of air heater and panels.
var heaters = [2]struct {
	out   point.Output
	meter point.Input
}{{point.AirHeaterPower, point.AirHeaterCurrent}, {point.RadiantPower, point.RadiantCurrent}}

// notice updates the watch by the inputs of this scan.
func (g *Gate) notice(v *view) {
	g.noticeHeaters(v)
	g.noticeAir(v)
	g.noticeDrum(v)
	for k := range g.jumps {
		g.jumps[k].add(v.img.In[jumpy[k]], v.gapS)
	}
	g.shift.add(v)
	g.noticeCharge(v)
	g.balance.follow(v, g.flowKgPerH(v))
	g.airBalance.notice(g, v)
	g.skinRise.notice(g, v)
	if !g.heated {
		for k := range g.trend {
			g.trend[k].Add(v.ScanS, v.img.In[compared[k]])
		}
	}
}

func (g *Gate) noticeHeaters(v *view) {
	mains := v.img.In[point.MainsVoltage]
	for k, h := range heaters {
		demand, meter := g.last[h.out]*g.last[point.HeatEnable], v.img.In[h.meter]
		g.metered[k] = sound(meter) && sound(mains) && mains.V >= leastMainsV
		drawn := demand
		if g.metered[k] {
			drawn = g.drawnNow(v, k)
		}
		a := v.gapS / (followS + v.gapS)
		g.asked[k] += a * (demand - g.asked[k])
		g.drawn[k] += a * (drawn - g.drawn[k])
		a = v.gapS / (math.Max(latelyS, 2.5*g.windowS[k]) + v.gapS)
		g.askedLately[k] += a * (demand - g.askedLately[k])
		g.drawnLately[k] += a * (drawn - g.drawnLately[k])
		if g.steadyS[k] += v.gapS; math.Abs(demand-g.steadyC[k]) > 0.05 {
			g.steadyC[k], g.steadyS[k] = demand, 0
		}
	}
}

// drawnNow is the share of rated power that a heater draws by its meter. Its
// resistance is what the rated power and voltage say.
func (g *Gate) drawnNow(v *view, k int) float64 {
	return v.img.In[heaters[k].meter].V * g.ratedV * g.ratedV / (g.powerW[k] * v.img.In[point.MainsVoltage].V)
}

// A blower is at rest, and a drum too, this long after their command at the
// latest (estimates, common practice, no source).
const (
	blowerRestS = 30.0
	drumRestS   = 15.0
	quietS      = 10.0
)

func (g *Gate) noticeAir(v *view) {
	want := g.machine.FlowKgPerS(g.last[point.BlowerSpeed]*g.last[point.BlowerRun]) * 3600
	g.wantKgPerH = math.Min(want, g.wantKgPerH+(want-g.wantKgPerH)*v.gapS/(3+v.gapS))
	switch x := v.img.In[point.AirProving]; {
	case !x.On():
		g.provingOnS = 0
		g.provingStuck = g.provingStuck && !x.Off()
	case g.blowerOffS > blowerRestS:
		g.provingOnS += v.gapS
		g.provingStuck = g.provingStuck || g.provingOnS >= 2
	}
}

func (g *Gate) noticeDrum(v *view) {
	if !g.hasShaft || g.drumOffS < drumRestS {
		return
	}
	switch silent := g.shaft.SilentS(); {
	case silent > quietS:
		g.humming = false
	case silent < 2 && g.shaft.RPM() > 0:
		g.humming = true
	}
}

// remember updates the watch by what this scan has permitted.
func (g *Gate) remember(p *Permit, dt float64) {
	grow := func(t *float64, on bool) {
		if *t += dt; !on {
			*t = 0
		}
	}
	heat := p.out[point.HeatEnable] >= 0.5
	grow(&g.blowerOffS, !g.fresh && p.Covers(point.BlowerRun) && (p.out[point.BlowerRun] < 0.5 || p.out[point.BlowerSpeed] <= 0))
	grow(&g.drumOffS, !g.fresh && p.Covers(point.DrumRun) && (p.out[point.DrumRun] < 0.5 || p.out[point.DrumSpeed] <= 0))
	grow(&g.heatOnS, heat)
	grow(&g.heatOffS, !heat)
	g.heated = g.heated || heat
}

// roomC is the temperature of the room, or what a room has.
func (v *view) roomC() float64 {
	if x := v.img.In[point.Ambient]; sound(x) {
		return x.V
	}
	return 20
}

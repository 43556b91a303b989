package safety

import (
	"math"

	"drumwright/io/point"
	"drumwright/profiles"
)

// memory is what the signals and the arming remember from scan to scan.
type memory struct {
	begun   bool
	scanS   float64                   // time of the last scan
	last    [point.NumOutputs]float64 // permitted in the last scan
	heating bool                      // heat has been permitted and is still asked for

	resumedS     float64 // end of the last gap that was too long: what the shaft did meanwhile is not known
	hasShaft     bool
	shaft        point.Shaft
	turnedS      float64 // time at which a device last saw the drum turn, without a shaft counter
	drumHz       float64 // expected drive frequency, with the drive's ramp
	drumSteadyS  float64 // time since the drive's ramp ended
	drumOnS      float64 // time for which each has been commanded
	blowerOnS    float64
	enoughAirS   float64 // time for which at least the least flow for heat has been commanded
	fanOnS       float64
	airOffS      float64
	radiantOffS  float64
	contactorOff float64
	slope        [numSlopes]point.Slope
	still        [point.NumInputs]stillness
	echoes       [point.NumOutputs]echo
	balance      balance
	watch
}

const (
	slopeBean = iota
	slopeExhaust
	slopeInlet
	slopeSkin
	slopeCollector
	slopeTray
	numSlopes
)

// slopeSpanS is the time over which the rates of change are taken.
const slopeSpanS = 3.0

// drumStartS and blowerStartS are the times that drum and blower may take to
// come up after their command before anything is expected of them; heatersOffS is
// the time both heaters must have been off before a rise is suspicious
// (estimates, common practice, no source).
const (
	drumStartS   = 3.0
	blowerStartS = 5.0
	heatersOffS  = 5.0
)

func newMemory(m *profiles.Machine) memory {
	k := memory{hasShaft: m.HasIn[point.DrumPulses], balance: newBalance(m)}
	if k.hasShaft {
		k.shaft = point.NewShaft(m.Drum.PulsesPerRev, m.In[point.DrumPulses].Type.Wrap())
	}
	for i := range k.slope {
		k.slope[i] = point.NewSlope(slopeSpanS)
	}
	for i := range k.trend {
		k.trend[i] = point.NewSlope(trendSpanS)
	}
	for i := range k.still {
		k.still[i].v = math.NaN()
	}
	k.shift = newShift(m)
	return k
}

// stillness is how long a value has been the same to the bit, where the other
// temperatures stood when that began, and whether something has since proven
// that it should have moved. The proof stays until the value moves: heat that is
// switched in windows would else take it back in every pause.
type stillness struct {
	v      float64
	forS   float64
	heatS  float64 // share of heat times its seconds
	others [point.NumInputs]float64
	proven bool
}

// frozenMoveC is how far another temperature must have moved to prove that a
// probe which has not moved at all is frozen; frozenDuty is the heat that proves
// it too (estimates, common practice, no source).
const (
	frozenMoveC = 3.0
	frozenDuty  = 0.10
)

// watched are the probes whose stillness is looked at.
var watched = [...]point.Input{point.Bean, point.InletAir, point.DrumSkin}

// follow updates everything that depends on the inputs.
func (g *Gate) follow(v *view) {
	img, now, gap := v.img, v.ScanS, v.gapS
	if gap > float64(g.limits.ScanLateS) {
		g.resumedS = now
	}
	if g.hasShaft {
		g.shaft.Update(now, img.In[point.DrumPulses])
	}
	g.slope[slopeBean].Add(now, img.In[point.Bean])
	g.slope[slopeExhaust].Add(now, img.In[point.Exhaust])
	g.slope[slopeInlet].Add(now, img.In[point.InletAir])
	g.slope[slopeSkin].Add(now, img.In[point.DrumSkin])
	g.slope[slopeCollector].Add(now, img.In[point.Collector])
	g.slope[slopeTray].Add(now, img.In[point.CoolingTray])
	for _, i := range watched {
		g.still[i].follow(i, img, g.last[point.AirHeaterPower], g.last[point.RadiantPower], gap, v.PeriodS)
	}
	want := g.last[point.DrumSpeed] * g.last[point.DrumRun]
	step := g.drumRampHzS * gap
	g.drumHz += math.Max(-step, math.Min(step, want-g.drumHz))
	g.drumSteadyS += gap
	if math.Abs(want-g.drumHz) > 0.5 {
		g.drumSteadyS = 0
	}
	if x := img.In[point.DrumTurning]; sound(x) && x.V > turningShare*g.expectedRPM() && x.V > 0 {
		g.turnedS = now
	}
	g.listen(v)
	g.notice(v)
}

func (f *stillness) follow(i point.Input, img *point.Image, air, radiant, gapS, periodS float64) {
	x := img.In[i]
	if !sound(x) || x.V != f.v {
		*f = stillness{v: x.V}
		for j := range point.NumInputs {
			f.others[j] = math.NaN()
			if sound(img.In[j]) {
				f.others[j] = img.In[j].V
			}
		}
		return
	}
	f.forS += gapS
	f.heatS += math.Max(air, radiant) * gapS
	if f.forS < math.Max(0.5, 2*periodS) { // a slow converter repeats a value once or twice
		return
	}
	if f.heatS > frozenDuty*f.forS {
		f.proven = true
	}
	for j := range point.NumInputs {
		if j != i && j.Role().Kind == point.Temperature && sound(img.In[j]) && math.Abs(img.In[j].V-f.others[j]) > frozenMoveC {
			f.proven = true
		}
	}
}

// settle remembers what was permitted and for how long.
func (g *Gate) settle(p *Permit, asks bool, dt float64) {
	grow := func(t *float64, on bool) {
		if on {
			*t += dt
		} else {
			*t = 0
		}
	}
	drum := g.turning(&p.out)
	if drum && !g.turning(&g.last) {
		g.shaft.Forget()
		g.turnedS = g.scanS
		g.drumOnS = -dt // counts from this scan
	}
	blower := p.out[point.BlowerRun] >= 0.5 && p.out[point.BlowerSpeed] > 0
	grow(&g.drumOnS, drum)
	grow(&g.blowerOnS, blower)
	grow(&g.enoughAirS, blower && p.out[point.BlowerSpeed] >= g.minBlowerHz*(1-1e-9))
	grow(&g.fanOnS, p.out[point.CoolingFan] >= 0.5)
	grow(&g.airOffS, p.out[point.AirHeaterPower] == 0)
	grow(&g.radiantOffS, p.out[point.RadiantPower] == 0)
	grow(&g.contactorOff, p.out[point.HeatEnable] < 0.5)
	g.remember(p, dt)
	g.heating = asks && (g.heating || p.out[point.HeatEnable] >= 0.5)
	for o := range point.NumOutputs {
		g.echoes[o].tell(p, o)
	}
	g.last = p.out
}

// turning reports whether outputs tell the drum to turn, at its least speed or
// more.
func (g *Gate) turning(out *[point.NumOutputs]float64) bool {
	hz := out[point.DrumSpeed]
	return out[point.DrumRun] >= 0.5 && hz > 0 && hz >= g.minDrumHz*(1-1e-9)
}

func (g *Gate) isArmed(a Arming) bool {
	switch a {
	case HeatOn:
		return g.heatOn()
	case BeansIn:
		return g.v.BeansIn
	case BeansHot:
		return g.v.BeansIn || g.heatOn()
	case DrumOn:
		return g.drumOnS >= drumStartS
	case BlowerOn:
		return g.blowerOnS >= blowerStartS
	case FanOn:
		return g.fanOnS > 0
	case HeatersOff:
		return g.airOffS > heatersOffS && g.radiantOffS > heatersOffS
	}
	return true
}

// heatOn is true from the scan after heat was first permitted until control no
// longer asks for it. A wish alone does not arm: before the first heat a
// doubtful input refuses it without a trip. Being withheld does not disarm.
func (g *Gate) heatOn() bool { return g.heating }

// expectedRPM is the drum speed that the drive's frequency should give now.
func (g *Gate) expectedRPM() float64 { return g.drumHz * g.rpmPerHz }

// measuredRPM is the drum speed from pulses, or from a device; 0 = not known.
func (g *Gate) measuredRPM(img *point.Image) float64 {
	if g.hasShaft {
		return g.shaft.RPM()
	}
	if x := img.In[point.DrumTurning]; sound(x) {
		return x.V
	}
	return 0
}

// hotInputs are the temperatures that say whether a machine is hot.
var hotInputs = [...]point.Input{point.Bean, point.Bean2, point.InletAir, point.DrumSkin, point.DrumSkin2, point.Exhaust, point.HeaterElement, point.HighLimit}

// seenCool reports whether every fitted temperature has been read and is cool.
// A broken probe does not count: its unit has answered.
func (g *Gate) seenCool(img *point.Image) bool {
	for _, i := range hotInputs {
		x := img.In[i]
		if x.Quality == point.Bad && silent(x.Cause) || sound(x) && x.V >= g.coolC {
			return false
		}
	}
	return true
}

package safety

import (
	"math"

	"drumwright/io/point"
	"drumwright/profiles"
)

// view is what the signals look at in one scan.
type view struct {
	Context
	img    *point.Image
	wish   *Wishes
	gapS   float64 // scan time since the last scan
	noTime bool    // scan time did not move on
}

// sound reports whether a value is usable and a number.
func sound(x point.Value) bool { return x.Usable() && !math.IsNaN(x.V) }

// unknown reports whether a fitted point has no usable value, so that nobody
// can say that its cause is gone.
func unknown(x point.Value) bool { return x.Quality != point.Absent && !sound(x) }

// silent reports whether a value is missing because its unit does not answer.
func silent(c point.Cause) bool {
	switch c {
	case point.NotReadYet, point.Timeout, point.BusDown, point.Refused, point.WrongReply:
		return true
	}
	return false
}

// contactOff is active when a contact that should be on is off, or has been
// unreadable for so long that it counts as off.
func contactOff(i point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		x := v.img.In[i]
		// A silent unit says nothing of the contact; unit_lost sees to it, and its
		// safe state does not stop a drum full of hot beans.
		lost := x.Quality == point.Bad && !silent(x.Cause)
		return finding{active: lost || (x.Quality == point.Good && !x.On()), unknown: unknown(x), value: x.V, limit: 1, detail: i.String()}
	}
}

// contactOn is active when a contact is on.
func contactOn(i point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		x := v.img.In[i]
		return finding{active: x.On(), unknown: unknown(x), value: x.V, detail: i.String()}
	}
}

// above is active when any of the points stands at or over its limit. The
// first that does is named. A reading beyond what the probe can show counts: it
// may be a broken probe, but it may be a fire.
func above(limit func(*profiles.Limits) profiles.Trip, points ...point.Input) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		at := float64(limit(&g.limits).At)
		f := finding{limit: at, unit: "°C"}
		for _, i := range points {
			x := v.img.In[i]
			if x.V >= at && (x.Usable() || x.Quality == point.Bad && x.Cause == point.OutOfRange) {
				f.active, f.value, f.detail = true, x.V, i.String()
				return f
			}
			f.unknown = f.unknown || unknown(x)
		}
		return f
	}
}

// probeBad is active when a fitted probe has no usable value for a reason of
// its own; a silent unit is unit_lost's business.
func probeBad(i point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		x := v.img.In[i]
		f := finding{unknown: unknown(x), value: x.V, cause: x.Cause, detail: i.String()}
		f.active = x.Quality == point.Bad && !silent(x.Cause) || x.Usable() && math.IsNaN(x.V)
		return f
	}
}

// spared are the inputs that a roast can do without when their unit is silent.
var spared = [point.NumInputs]bool{
	point.Ambient: true, point.CoolingTray: true, point.MainsVoltage: true, point.ResetButton: true,
	point.ChargeGateOpen: true, point.DischargeDoorOpen: true, point.Cabinet: true, point.CarbonMonoxideAlarm: true,
}

// unitLost is active when a needed input has not been read for the site's time.
func unitLost(g *Gate, v *view) finding {
	limit := float64(g.limits.BusLostS)
	for i := range point.NumInputs {
		x := v.img.In[i]
		if spared[i] || x.Quality == point.Absent || !silent(x.Cause) {
			continue
		}
		if !(x.AgeS < limit) || (x.Quality == point.Bad && x.Cause != point.NotReadYet) {
			return finding{active: true, value: x.AgeS, limit: limit, unit: "s", cause: x.Cause, detail: i.String()}
		}
	}
	return finding{}
}

// outputLost is active while a device does not acknowledge what it is told. The
// horn moves nothing and is spared.
func outputLost(_ *Gate, v *view) finding {
	for o := range point.NumOutputs {
		if v.Unacknowledged[o] && o != point.Horn {
			return finding{active: true, detail: o.String()}
		}
	}
	return finding{}
}

// frozen is active while a probe repeats its value to the bit although heat has
// been given or another probe has moved since.
func frozen(i point.Input) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		x := v.img.In[i]
		return finding{active: g.still[i].proven && sound(x), unknown: unknown(x), value: x.V, detail: i.String()}
	}
}

// turningShare is the share of the expected speed below which a drum whose
// speed a device measures counts as standing (estimate, common practice, no
// source).
const turningShare = 0.1

// drumStall is active when no shaft pulse has come for the site's time, or two
// and a half expected periods if that is longer; with a speed device when that
// has seen no turning for the site's time.
func drumStall(g *Gate, v *view) finding {
	from := g.shaftInput()
	wait, standing := float64(g.limits.StallS), v.ScanS-g.turnedS
	if g.hasShaft {
		standing = g.shaft.SilentS()
		if rpm := g.expectedRPM(); rpm > 0 {
			wait = math.Max(wait, 2.5*60/(rpm*g.pulsesPerRev))
		}
	}
	// While its unit is silent nothing is known of the drum: unit_lost takes heat
	// away and leaves the drum turning.
	f := finding{unknown: unknown(v.img.In[from]), value: standing, limit: wait, unit: "s", detail: from.String()}
	f.active = math.Min(standing, v.ScanS-g.resumedS) >= wait-1e-9 && !silent(v.img.In[from].Cause)
	return f
}

// shaftInput is the input that tells whether the drum turns.
func (g *Gate) shaftInput() point.Input {
	if g.hasShaft {
		return point.DrumPulses
	}
	return point.DrumTurning
}

// drumSlip is active when the measured drum speed is short of the expected one
// by more than the share. It waits until the drive's ramp has been over for as
// long as the speed is averaged.
func drumSlip(share func(*profiles.Limits) float64) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		rpm, want := g.measuredRPM(v.img), g.expectedRPM()
		limit := want * (1 - share(&g.limits))
		steady := g.drumSteadyS > math.Max(drumStartS, 2*60/want)
		x := v.img.In[g.shaftInput()]
		return finding{active: steady && rpm > 0 && rpm < limit && !silent(x.Cause), unknown: unknown(x), value: rpm, limit: limit, unit: "rpm", detail: "drum"}
	}
}

func driveFault(status, fault point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		s, f := v.img.In[status], v.img.In[fault]
		if f.Usable() && f.V != 0 {
			return finding{active: true, value: f.V, detail: fault.String()}
		}
		return finding{active: s.Usable() && s.V == point.DriveFault, unknown: unknown(s) || unknown(f), value: s.V, detail: status.String()}
	}
}

// driveStopped is active when a drive says that it does not run, or says
// something that the machine file does not know.
func driveStopped(status point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		s := v.img.In[status]
		return finding{active: notRunning(s), unknown: unknown(s), value: s.V, detail: status.String()}
	}
}

func notRunning(s point.Value) bool {
	return s.Usable() && s.V != point.DriveRunning || s.Quality == point.Bad && !silent(s.Cause)
}

// airLost is active when nothing that could prove the air does, or anything
// that could denies it.
func airLost(g *Gate, v *view) finding {
	proven, detail := g.airProven(v.img)
	return finding{active: !proven, detail: detail}
}

// airProven says whether the air moves: every device that can tell must agree.
// A machine without any such device cannot prove it; check says so.
func (g *Gate) airProven(img *point.Image) (bool, string) {
	if x := img.In[point.AirProving]; x.Quality != point.Absent && !(x.Usable() && x.V >= 0.5) {
		if f := img.In[point.AirFlow]; sound(f) && f.V >= g.leastFlow() {
			return false, "air_proving is off though air_flow is there: look at the switch"
		}
		return false, "air_proving is off"
	}
	if x := img.In[point.AirFlow]; x.Quality != point.Absent && !(x.Usable() && x.V >= g.leastFlow()) {
		return false, "air_flow is too low"
	}
	if s := img.In[point.BlowerStatus]; notRunning(s) {
		return false, "blower_status is not running"
	}
	return true, ""
}

// leastFlow is the air flow that must be measured, kg/h: the least for heat, or
// half of what the blower's frequency should give while less than that has been
// asked for, as in a slow run-down or a moment ago.
func (g *Gate) leastFlow() float64 {
	if g.enoughAirS >= blowerStartS || g.minBlowerHz <= 0 {
		return g.minFlow
	}
	return 0.5 * g.minFlow * math.Min(1, g.last[point.BlowerSpeed]/g.minBlowerHz)
}

// beanRise is active when the bean probe rises faster than the site allows,
// from a minute after charge.
func beanRise(g *Gate, v *view) finding {
	limit := float64(g.limits.RiseKPerS)
	rate, ok := g.slope[slopeBean].PerS()
	return finding{active: ok && v.SinceChargeS > 60 && rate > limit, unknown: !ok, value: rate, limit: limit, unit: "K/s", detail: "bean"}
}

// Evidence of fire (estimates, common practice, no source).
const (
	fireRiseKPerS = 1.5
	fireWarmC     = 170.0
	// Beans that climb in air that is clearly colder than they are. Drum skin and
	// reaction together give less.
	fireAloneKPerS = 0.10
	fireAboveK     = 10.0
	// The same long after heat, when nothing at all explains it: seen sooner.
	fireColdKPerS = 0.25
	fireColdS     = 20.0
	// Hotter than any roast and still climbing, heat or not.
	fireHotC         = 250.0
	fireHotRiseKPerS = 1.0
)

// fireRise is active when beans or exhaust climb faster than without heat they
// can.
func fireRise(g *Gate, v *view) finding {
	bean, okB := g.slope[slopeBean].PerS()
	exhaust, okE := g.slope[slopeExhaust].PerS()
	f := finding{unknown: !okB, value: bean, limit: fireRiseKPerS, unit: "K/s", detail: "bean"}
	// A bare probe and the exhaust follow air that was hot before heat went off,
	// as fast as in a fire; but they stay below it, and beans do not burn below
	// fireWarmC.
	warm := v.img.In[point.Bean].V >= fireWarmC && aboveAir(v, point.Bean)
	switch {
	case okB && warm && bean > fireRiseKPerS:
		f.active = true
	case okE && exhaust > fireRiseKPerS && aboveAir(v, point.Exhaust):
		f.active, f.value, f.detail = true, exhaust, "exhaust"
	case okB && v.BeansIn && bean > fireColdKPerS && g.airOffS > fireColdS && g.radiantOffS > fireColdS && inColderAir(v):
		f.active, f.limit = true, fireColdKPerS
	}
	return f
}

// aboveAir reports whether a temperature is higher than that of the air going
// in; an air that is not known is no excuse for a rise as fast as a fire's.
func aboveAir(v *view, i point.Input) bool {
	air := v.img.In[point.InletAir]
	return !sound(air) || v.img.In[i].V > air.V
}

// inColderAir reports whether the beans are known to be clearly hotter than the
// air that blows on them: a slow rise is evidence in known air only.
func inColderAir(v *view) bool {
	bean, air := v.img.In[point.Bean], v.img.In[point.InletAir]
	return sound(bean) && sound(air) && bean.V > air.V+fireAboveK
}

// fireAlone is active when beans climb though the air that blows on them is
// colder: a bean loop that withdraws the air heat would else hide a fire.
func fireAlone(g *Gate, v *view) finding {
	rate, ok := g.slope[slopeBean].PerS()
	f := finding{unknown: !ok || unknown(v.img.In[point.InletAir]), value: rate, limit: fireAloneKPerS, unit: "K/s", detail: "bean"}
	f.active = ok && rate > fireAloneKPerS && v.SinceChargeS > settledS && inColderAir(v)
	return f
}

// fireHot is active when beans hotter than any roast still climb, heat or not.
func fireHot(g *Gate, v *view) finding {
	x := v.img.In[point.Bean]
	rate, ok := g.slope[slopeBean].PerS()
	return finding{active: sound(x) && x.V > fireHotC && ok && rate > fireHotRiseKPerS, unknown: !ok, value: rate, limit: fireHotRiseKPerS, unit: "K/s", detail: "bean"}
}

// risesUnasked is active when a temperature rises though its heater has been
// told to be off for longer than the heat stored in it explains.
func risesUnasked(i point.Input) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		which, off, wait := slopeInlet, g.airOffS, float64(g.limits.OffRiseAirS)
		if i == point.DrumSkin {
			which, off, wait = slopeSkin, math.Min(g.airOffS, g.radiantOffS), float64(g.limits.OffRiseSkinS)
		}
		limit := float64(g.limits.OffRiseKPerS)
		rate, ok := g.slope[which].PerS()
		return finding{active: ok && off > wait && rate > limit, unknown: !ok, value: rate, limit: limit, unit: "K/s", detail: i.String()}
	}
}

// inletHigh is above for the inlet air, with the lag of its probe taken off a
// rise while heat is on: a strong heater is past its limit long before its probe
// is.
func inletHigh(g *Gate, v *view) finding {
	f := above(func(l *profiles.Limits) profiles.Trip { return l.InletHigh }, point.InletAir)(g, v)
	rate, ok := g.slope[slopeInlet].PerS()
	if x := v.img.In[point.InletAir]; !f.active && sound(x) && ok && rate > 0 && g.heatOnS > slopeSpanS {
		f.value, f.detail = x.V+rate*float64(g.machine.Heaters.Air.ProbeLagS), "inlet_air, its probe's lag taken off"
		f.active = f.value >= f.limit
	}
	return f
}

func contactorStuck(g *Gate, v *view) finding {
	x := v.img.In[point.ContactorClosed]
	return finding{active: x.On() && g.last[point.HeatEnable] < 0.5, unknown: unknown(x), value: 1, detail: "contactor_closed"}
}

func contactorOpen(g *Gate, v *view) finding {
	x := v.img.In[point.ContactorClosed]
	return finding{active: x.Off() && g.last[point.HeatEnable] >= 0.5, unknown: unknown(x), detail: "contactor_closed"}
}

func scanLate(g *Gate, v *view) finding {
	limit := float64(g.limits.ScanLateS)
	return finding{active: v.noTime || v.gapS > limit, value: v.gapS, limit: limit, unit: "s", detail: "scan"}
}

func badWish(_ *Gate, v *view) finding {
	for o := range point.NumOutputs {
		if x := v.wish.Out[o]; math.IsNaN(x) || math.IsInf(x, 0) {
			return finding{active: true, detail: o.String()}
		}
	}
	return finding{}
}

// restartHot is active after a start until a person has looked, when anything
// is hot.
func restartHot(g *Gate, v *view) finding {
	for _, i := range hotInputs {
		if x := v.img.In[i]; g.fresh && sound(x) && x.V >= g.coolC {
			return finding{active: true, value: x.V, limit: g.coolC, unit: "°C", detail: i.String()}
		}
	}
	return finding{}
}

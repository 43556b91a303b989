package safety

import (
	"math"

	"drumwright/io/point"
	"drumwright/profiles"
)

// view is what the signals look at in one scan.
type view struct {
	Context
	img  *point.Image
	wish *Wishes
	gapS float64 // scan time since the last scan
}

// contactOff is active when a contact that should be on is off, or has been
// unreadable for so long that it is bad.
func contactOff(i point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		x := v.img.In[i]
		lost := x.Quality == point.Bad && x.Cause != point.NotReadYet
		return finding{active: x.Off() || lost, value: x.V, limit: 1, detail: i.String()}
	}
}

// contactOn is active when a contact is on.
func contactOn(i point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		return finding{active: v.img.In[i].On(), value: 1, detail: i.String()}
	}
}

func estop(g *Gate, v *view) finding { return contactOff(point.EmergencyStopHealthy)(g, v) }

// above is active when any of the points stands at or over its limit. The
// first that does is named.
func above(limit func(*profiles.Limits) profiles.Trip, points ...point.Input) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		at := float64(limit(&g.limits).At)
		for _, i := range points {
			if x := v.img.In[i]; x.Usable() && x.V >= at {
				return finding{active: true, value: x.V, limit: at, unit: "°C", detail: i.String()}
			}
		}
		return finding{}
	}
}

// probeBad is active when a fitted probe has no usable value for a reason of
// its own; a silent unit is unit_lost's business.
func probeBad(i point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		x := v.img.In[i]
		if x.Quality != point.Bad || silent(x.Cause) {
			return finding{}
		}
		return finding{active: true, value: x.V, detail: i.String() + ": " + x.Cause.String()}
	}
}

func silent(c point.Cause) bool {
	switch c {
	case point.NotReadYet, point.Timeout, point.BusDown, point.Refused, point.WrongReply:
		return true
	}
	return false
}

// spared are the inputs that a roast can do without when their unit is silent.
var spared = [point.NumInputs]bool{
	point.Ambient: true, point.CoolingTray: true, point.MainsVoltage: true, point.ResetButton: true,
	point.ChargeGateOpen: true, point.DischargeDoorOpen: true,
}

// unitLost is active when a needed input has not been read for the site's time.
func unitLost(g *Gate, v *view) finding {
	limit := float64(g.limits.BusLostS)
	for i := range point.NumInputs {
		x := v.img.In[i]
		if spared[i] || x.Quality == point.Absent || !silent(x.Cause) {
			continue
		}
		if x.AgeS >= limit || (x.Quality == point.Bad && x.Cause != point.NotReadYet) {
			return finding{active: true, value: x.AgeS, limit: limit, unit: "s", detail: i.String() + ": " + x.Cause.String()}
		}
	}
	return finding{}
}

// frozenMoveC is how far another temperature must have moved to prove that a
// probe which has not moved at all is frozen; frozenDuty is the heat that proves
// it too (estimates, common practice, no source).
const (
	frozenMoveC = 3.0
	frozenDuty  = 0.10
)

// frozen is active while a probe repeats its value to the bit although heat is
// on or another probe has moved since.
func frozen(i point.Input) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		f := &g.still[i]
		if f.sinceS < g.sampleS(v) || !v.img.In[i].Usable() {
			return finding{}
		}
		moving := g.last[point.AirHeaterPower] > frozenDuty || g.last[point.RadiantPower] > frozenDuty
		for j := range point.NumInputs {
			if j == i || j.Role().Kind != point.Temperature || !v.img.In[j].Usable() {
				continue
			}
			if math.Abs(v.img.In[j].V-f.others[j]) > frozenMoveC {
				moving = true
			}
		}
		return finding{active: moving, value: v.img.In[i].V, unit: "°C", detail: i.String()}
	}
}

// sampleS is the least time after which an unchanged value means anything.
func (g *Gate) sampleS(v *view) float64 { return math.Max(0.5, 2*v.PeriodS) }

// drumStall is active when no shaft pulse has come for the site's time, or two
// and a half expected periods if that is longer.
func drumStall(g *Gate, v *view) finding {
	x := v.img.In[point.DrumPulses]
	if x.Quality == point.Absent {
		t := v.img.In[point.DrumTurning]
		return finding{active: t.Usable() && t.V < 0.1*g.expectedRPM(), value: t.V, limit: 0.1 * g.expectedRPM(), unit: "rpm", detail: "drum_turning"}
	}
	wait := float64(g.limits.StallS)
	if rpm := g.expectedRPM(); rpm > 0 {
		wait = math.Max(wait, 2.5*60/(rpm*g.pulsesPerRev))
	}
	return finding{active: g.shaft.SilentS() >= wait-1e-9, value: g.shaft.SilentS(), limit: wait, unit: "s", detail: "drum_pulses"}
}

// drumSlip is active when the measured drum speed is short of the expected one
// by more than the share.
func drumSlip(share func(*profiles.Limits) float64) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		rpm, want := g.measuredRPM(v.img), g.expectedRPM()
		limit := want * (1 - share(&g.limits))
		return finding{active: rpm > 0 && want > 0 && rpm < limit, value: rpm, limit: limit, unit: "rpm", detail: "drum"}
	}
}

func driveFault(status, fault point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		s, f := v.img.In[status], v.img.In[fault]
		if f.Usable() && f.V != 0 {
			return finding{active: true, value: f.V, detail: fault.String()}
		}
		return finding{active: s.Usable() && s.V == point.DriveFault, value: s.V, detail: status.String()}
	}
}

func driveStopped(status point.Input) func(*Gate, *view) finding {
	return func(_ *Gate, v *view) finding {
		s := v.img.In[status]
		return finding{active: s.Usable() && s.V == point.DriveStopped, detail: status.String()}
	}
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
	if img.Has(point.AirProving) && !img.In[point.AirProving].On() {
		if q := img.In[point.AirProving]; q.Quality != point.Uncertain || q.V < 0.5 {
			return false, "air_proving is off"
		}
	}
	if x := img.In[point.AirFlow]; x.Usable() && x.V < g.minFlowKgPerH {
		return false, "air_flow is too low"
	}
	if s := img.In[point.BlowerStatus]; s.Usable() && s.V == point.DriveStopped {
		return false, "blower_status is stopped"
	}
	return true, ""
}

// beanRise is active when the bean probe rises faster than the site allows,
// from a minute after charge.
func beanRise(g *Gate, v *view) finding {
	limit := float64(g.limits.RiseKPerS)
	rate, ok := g.slope[slopeBean].PerS()
	return finding{active: ok && v.SinceChargeS > 60 && rate > limit, value: rate, limit: limit, unit: "K/s", detail: "bean"}
}

// Evidence of fire (estimates, common practice, no source).
const (
	fireRiseKPerS    = 1.5
	fireHotC         = 250.0
	fireHotRiseKPerS = 1.0
)

// fireRise is active when with heat off the beans or the exhaust still climb.
func fireRise(g *Gate, v *view) finding {
	bean, okB := g.slope[slopeBean].PerS()
	exhaust, okE := g.slope[slopeExhaust].PerS()
	if okB && bean > fireRiseKPerS {
		return finding{active: true, value: bean, limit: fireRiseKPerS, unit: "K/s", detail: "bean"}
	}
	if okE && exhaust > fireRiseKPerS {
		return finding{active: true, value: exhaust, limit: fireRiseKPerS, unit: "K/s", detail: "exhaust"}
	}
	hot := v.img.In[point.Bean].Usable() && v.img.In[point.Bean].V > fireHotC
	return finding{active: hot && okB && bean > fireHotRiseKPerS, value: bean, limit: fireHotRiseKPerS, unit: "K/s", detail: "bean"}
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
		return finding{active: ok && off > wait && rate > limit, value: rate, limit: limit, unit: "K/s", detail: i.String()}
	}
}

func contactorStuck(g *Gate, v *view) finding {
	return finding{active: v.img.In[point.ContactorClosed].On() && g.last[point.HeatEnable] < 0.5, value: 1, detail: "contactor_closed"}
}

func contactorOpen(g *Gate, v *view) finding {
	return finding{active: v.img.In[point.ContactorClosed].Off() && g.last[point.HeatEnable] >= 0.5, detail: "contactor_closed"}
}

func scanLate(g *Gate, v *view) finding {
	limit := float64(g.limits.ScanLateS)
	return finding{active: v.gapS > limit, value: v.gapS, limit: limit, unit: "s", detail: "scan"}
}

func badWish(_ *Gate, v *view) finding {
	for o := range point.NumOutputs {
		if x := v.wish.Out[o]; math.IsNaN(x) || math.IsInf(x, 0) {
			return finding{active: true, detail: o.String()}
		}
	}
	return finding{}
}

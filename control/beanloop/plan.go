package beanloop

import "math"

// Amendment is what people have changed of a curve while it is followed: from
// FromS on the rest of the curve, which begins at CurveS, ends at EndS and is
// raised by FromK at first, by EndK at its end, evenly in between. The zero value
// changes nothing. An amendment of an amended curve is one again.
type Amendment struct {
	FromS  float64 // since charge
	CurveS float64 // time of the curve that is followed then
	EndS   float64 // since charge
	FromK  float64
	EndK   float64
}

// Plan is a curve with what was changed of it.
//
// Its value and slope may jump where it was amended: a person has asked for
// something else there. The loop's slew takes that as it takes any new set point.
type Plan struct {
	Curve *Curve
	Amendment
}

// EndS is the time of the plan's last temperature, s since charge.
func (p Plan) EndS() float64 {
	if p.Amendment.EndS > 0 {
		return p.Amendment.EndS
	}
	return p.Curve.EndS()
}

// EndC is the plan's last temperature, °C.
func (p Plan) EndC() float64 {
	c, _, _ := p.At(p.EndS())
	return c
}

// CurveTimeS is the time of the curve that is followed at a time since charge.
func (p Plan) CurveTimeS(tS float64) float64 {
	if !(p.Amendment.EndS > 0) || tS < p.FromS {
		return tS
	}
	return p.CurveS + (tS-p.FromS)*p.pace()
}

// pace is how fast the curve is gone through.
func (p Plan) pace() float64 {
	return (p.Curve.EndS() - p.CurveS) / (p.Amendment.EndS - p.FromS)
}

// At returns value (°C), slope (K/s) and second derivative (K/s²) at a time since
// charge. After its end the plan goes on straight.
func (p Plan) At(tS float64) (valueC, slopeKPerS, secondKPerS2 float64) {
	endS := p.Amendment.EndS
	if !(endS > 0) || tS < p.FromS {
		return p.Curve.At(tS)
	}
	in := math.Min(tS, endS)
	pace, lift := p.pace(), (p.EndK-p.FromK)/(endS-p.FromS)
	v, s, b := p.Curve.At(p.CurveTimeS(in))
	v, s, b = v+p.FromK+lift*(in-p.FromS), s*pace+lift, b*pace*pace
	if tS > endS {
		s = math.Max(s, 0)
		return v + s*(tS-endS), s, 0
	}
	return v, s, b
}

// Target returns what Loop.Step wants at a time since charge, looking lookS ahead.
func (p Plan) Target(tS, lookS float64) Target {
	now, _, _ := p.At(tS)
	v, s, b := p.At(tS + lookS)
	return Target{NowC: now, AheadC: v, AheadKPerS: s, AheadKPerS2: b}
}

// Amend is the amendment by which the plan goes on from nowS at fromC, and ends at
// endS with endC. nowS is before both the present end and the new one.
func (p Plan) Amend(nowS, fromC, endS, endC float64) Amendment {
	at := p.CurveTimeS(nowS)
	c, _, _ := p.Curve.At(at)
	end, _, _ := p.Curve.At(p.Curve.EndS())
	return Amendment{FromS: nowS, CurveS: at, EndS: endS, FromK: fromC - c, EndK: endC - end}
}

// ReachS is the time since charge at which the plan is at tempC, not before nowS;
// +Inf if it comes to no such temperature.
func (p Plan) ReachS(nowS, tempC float64) float64 {
	if c, _, _ := p.At(nowS); c >= tempC {
		return nowS
	}
	low, high := nowS, math.Max(nowS, p.EndS())
	if c, slope, _ := p.At(high); c < tempC {
		if !(slope > 0) {
			return math.Inf(1)
		}
		return high + (tempC-c)/slope
	}
	for high-low > 0.1 {
		mid := (low + high) / 2
		if c, _, _ := p.At(mid); c < tempC {
			low = mid
		} else {
			high = mid
		}
	}
	return high
}

// LeastKPerS is the smallest slope of the plan from nowS to its end.
func (p Plan) LeastKPerS(nowS float64) float64 {
	least := math.Inf(1)
	for i := range 17 {
		_, s, _ := p.At(nowS + (p.EndS()-nowS)*float64(i)/16)
		least = math.Min(least, s)
	}
	return least
}

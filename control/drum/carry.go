package drum

import "math"

// XY is a point of the cross-section, mm from the axis: X towards the rising
// side, Y up. The drum turns anticlockwise seen so.
type XY struct {
	X float64 `json:"x_mm"`
	Y float64 `json:"y_mm"`
}

// FlightReposeRad is the angle to the horizontal, radians, at which material
// lies in a lifting flight: Schofield & Glikin 1962 (original not seen, form
// from memory). friction is its kinetic coefficient of friction, centrifugal
// the ratio r omega²/g at the flight's tip, and elevationRad the elevation of
// the tip above the axis on the rising side.
func FlightReposeRad(friction, centrifugal, elevationRad float64) float64 {
	sin, cos := math.Sincos(elevationRad)
	return math.Atan2(friction+centrifugal*(cos-friction*sin), 1-centrifugal*(sin+friction*cos))
}

// SlideElevationRad is the elevation of a radial paddle above the axis,
// radians, at which a bean on it begins to slide inward: its weight along the
// paddle then overcomes friction and the centripetal need, g sin psi - w² r = mu
// g cos psi. froude is w² r/g at the bean's own radius.
func SlideElevationRad(frictionRad, froude float64) float64 {
	return frictionRad + math.Asin(min(froude*math.Cos(frictionRad), 1))
}

// WallElevationRad is the elevation, radians, at which a frictionless bean
// pressed on a smooth wall falls off it: sin psi = Froude number.
func WallElevationRad(froude float64) float64 { return math.Asin(min(froude, 1)) }

// WallCarryRad is the angle from the bottom, radians, to which friction alone
// drags a single bean up a smooth wall.
func WallCarryRad(frictionRad, froude float64) float64 {
	return frictionRad + math.Asin(min(froude*math.Sin(frictionRad), 1))
}

// Throw is one bean that is carried up, leaves and lands. There is no contact
// between beans, no air and no shaft in it: beans in a stream spread about it.
type Throw struct {
	LeaveElevationRad float64 // above the axis on the rising side
	Leave             XY
	Land              XY
	OnBed             bool    // lands on the bed, else on bare wall
	BeyondToeMM       float64 // wall distance from the toe to the landing point; 0 on the bed
	HighestMM         float64 // highest point above the axis
	ShaftPassMM       float64 // least distance from the axis
	vx, vy, flightS   float64
}

// At is where the bean is a share 0..1 of its flight after it left.
func (t *Throw) At(share float64) XY {
	s := share * t.flightS
	return XY{t.Leave.X + t.vx*s, t.Leave.Y + t.vy*s - 500*GravityMPerS2*s*s}
}

// section is a cross-section in which beans fly.
type section struct {
	radiusMM   float64
	tiltRad    float64
	axisToBed  float64 // distance of the bed's surface from the axis, mm
	skinMMS    float64
	friction   float64 // coefficient
	paddleMM   float64
	shoulderUp float64 // elevation of the shoulder, radians
}

func (s *section) omega() float64 { return s.skinMMS / s.radiusMM }

// emerges is the elevation at which a point that turns at radius r leaves the
// bed; a bean deeper in it cannot leave.
func (s *section) emerges(r float64) float64 {
	if s.axisToBed >= r {
		return -math.Pi / 2 // never under the bed
	}
	return s.tiltRad - math.Asin(max(s.axisToBed/r, -1))
}

// slideStepS is the step of the integration along a paddle. A bean takes some
// 0.1 s to the tip; a tenth of the step changes the landing by less than 0.1 mm.
const slideStepS = 2e-4

// offPaddle carries a bean that lies at radius r on a radial paddle until it
// slides off: r” = w² r - g sin psi + mu (g cos psi + 2 w r').
func (s *section) offPaddle(r float64) Throw {
	const g = 1000 * GravityMPerS2
	w, mu := s.omega(), s.friction
	psi := max(SlideElevationRad(math.Atan(mu), w*w*r/g), s.emerges(r))
	tip := s.radiusMM - s.paddleMM
	v := 0.0
	pull := func(r, v, psi float64) float64 {
		sin, cos := math.Sincos(psi)
		return w*w*r - g*sin + mu*(g*cos+2*w*v)
	}
	for range int(10 / slideStepS) { // bounded, whatever the figures
		if r <= tip || g*math.Cos(psi)+2*w*v <= 0 {
			break
		}
		// Midpoint rule; a bean never climbs the paddle.
		h := slideStepS
		vm := min(v+h/2*pull(r, v, psi), 0)
		rm := r + h/2*v
		v = min(v+h*pull(rm, vm, psi+w*h/2), 0)
		r += h * vm
		psi += w * h
	}
	return s.fly(r, v, psi)
}

// offShoulder throws the bean that lies on the shoulder of the bed, half a bean
// from the wall. It rises by a bean's length at most: without paddles beans roll
// rather than fall.
func (s *section) offShoulder() Throw { return s.fly(s.radiusMM-CoverMM/2, 0, s.shoulderUp) }

// fly lets a bean go at radius r, with radial speed v, at elevation psi, and
// finds where it meets the bed or the wall.
func (s *section) fly(r, v, psi float64) Throw {
	sin, cos := math.Sincos(psi)
	w := s.omega()
	t := Throw{LeaveElevationRad: psi, Leave: XY{r * cos, r * sin}, vx: -w*r*sin + v*cos, vy: w*r*cos + v*sin}
	tb, tw := s.bedTime(&t), s.wallTime(&t)
	t.OnBed = tb <= tw
	t.flightS = min(tb, tw)
	t.Land = t.At(1)
	if !t.OnBed {
		toe := s.tiltRad - s.halfAngle() // from the bottom, negative on the falling side
		at := math.Atan2(t.Land.X, -t.Land.Y)
		t.BeyondToeMM = max(0, (toe-at)*s.radiusMM)
	}
	const g = 1000 * GravityMPerS2
	t.HighestMM = t.Leave.Y
	if t.vy > 0 {
		t.HighestMM += t.vy * t.vy / (2 * g)
	}
	t.ShaftPassMM = r
	for i := range 201 {
		p := t.At(float64(i) / 200)
		t.ShaftPassMM = min(t.ShaftPassMM, math.Hypot(p.X, p.Y))
	}
	return t
}

func (s *section) halfAngle() float64 { return math.Acos(s.axisToBed / s.radiusMM) }

// bedTime is the time at which the flight crosses the plane of the surface
// downward, +Inf if it does not meet it within the drum.
func (s *section) bedTime(t *Throw) float64 {
	const g = 1000 * GravityMPerS2
	sin, cos := math.Sincos(s.tiltRad)
	// x sin - y cos rises through axisToBed.
	a := g / 2 * cos
	b := t.vx*sin - t.vy*cos
	c := t.Leave.X*sin - t.Leave.Y*cos - s.axisToBed
	if c >= 0 {
		return 0 // lets go within the bed
	}
	d := b*b - 4*a*c
	if !(d >= 0) || a <= 0 {
		return math.Inf(1)
	}
	return (-b + math.Sqrt(d)) / (2 * a)
}

// wallTime is the time at which the flight meets the wall.
func (s *section) wallTime(t *Throw) float64 {
	out := func(at float64) float64 {
		x := t.Leave.X + t.vx*at
		y := t.Leave.Y + t.vy*at - 500*GravityMPerS2*at*at
		return math.Hypot(x, y) - s.radiusMM
	}
	// From the wall itself the flight first goes inward; a bean that does not is
	// held by the wall, and falls from where it is for the purpose of a picture.
	lo := 0.0
	const step = 1e-3
	for i := 1; i < 5000; i++ {
		hi := float64(i) * step
		if out(hi) >= 0 && (out(lo) < 0 || i > 1) {
			for range 50 {
				mid := (lo + hi) / 2
				if out(mid) < 0 {
					lo = mid
				} else {
					hi = mid
				}
			}
			return (lo + hi) / 2
		}
		lo = hi
	}
	return lo
}

// FlightS is how long the bean flies, s.
func (t *Throw) FlightS() float64 { return t.flightS }

package drawing

import (
	"fmt"
	"math"
	"strings"

	"drumwright/control/drum"
)

// view is a drum on paper: centre, mm of paper for each mm of machine, and which
// way it turns.
type view struct {
	*pen
	cx, cy, scale float64
	radiusMM      float64
	clockwise     bool
}

// at brings a point of the cross-section to paper.
func (v *view) at(p drum.XY) (x, y float64) {
	if v.clockwise {
		p.X = -p.X
	}
	return v.cx + v.scale*p.X, v.cy - v.scale*p.Y
}

// wall is a point at an angle from the bottom towards the rising side.
func wall(radiusMM, deg float64) drum.XY {
	sin, cos := math.Sincos(deg * math.Pi / 180)
	return drum.XY{X: radiusMM * sin, Y: -radiusMM * cos}
}

func (v *view) move(p drum.XY) string {
	x, y := v.at(p)
	return fmt.Sprintf("M%.2f %.2f", x, y)
}

func (v *view) to(p drum.XY) string {
	x, y := v.at(p)
	return fmt.Sprintf(" L%.2f %.2f", x, y)
}

// arc goes on along a circle of the drum from one angle to another, in short
// chords, so that it is the same for both ways of turning.
func (v *view) arc(radiusMM, fromDeg, toDeg float64) string {
	var d strings.Builder
	n := max(2, int(math.Ceil(math.Abs(toDeg-fromDeg)/3)))
	for i := 0; i <= n; i++ {
		d.WriteString(v.to(wall(radiusMM, fromDeg+(toDeg-fromDeg)*float64(i)/float64(n))))
	}
	return d.String()
}

// stroke is a line style; widths are mm on paper.
func stroke(colour string, width float64, more string) string {
	return fmt.Sprintf(`fill="none" stroke="%s" stroke-width="%.2f" stroke-linecap="round" stroke-linejoin="round" %s`, colour, width, more)
}

func fill(colour string) string { return fmt.Sprintf(`fill="%s"`, colour) }

// bed draws the segment of a stage with beans of their true size in it.
func (v *view) bed(r *drum.StageResult) {
	toe, shoulder := r.Figures[drum.ToeDeg].Value, r.Figures[drum.ShoulderDeg].Value
	outline := v.move(wall(v.radiusMM, toe)) + v.arc(v.radiusMM, toe, shoulder) + " Z"
	v.path(outline, fill(bedTint))
	v.beans(r)
	v.path(v.move(wall(v.radiusMM, toe))+v.to(wall(v.radiusMM, shoulder)), stroke(husk, 0.35, ""))
}

// A green bean, mm; it grows with the cube root of its volume (common practice,
// no source).
const (
	beanLongMM  = 9.0
	beanShortMM = 6.5
)

// growth is how much longer a bean of this stage is than a green one.
func growth(r *drum.StageResult) float64 {
	first := r.Figures[drum.BedML].Value / r.Figures[drum.MassG].Value * (1 - r.LossFrac)
	return math.Cbrt(first / greenMLPerG)
}

// greenMLPerG is the room of a gram of green coffee in the jug.
const greenMLPerG = 1 / 0.7

// beans lays beans in rows along the surface, turned this way and that by a
// fixed rule.
func (v *view) beans(r *drum.StageResult) {
	g := growth(r)
	long, short := beanLongMM*g, beanShortMM*g
	tilt := (r.Figures[drum.ToeDeg].Value + r.Figures[drum.ShoulderDeg].Value) / 2
	dir := tilt * math.Pi / 180
	along := drum.XY{X: math.Cos(dir), Y: math.Sin(dir)}
	down := drum.XY{X: math.Sin(dir), Y: -math.Cos(dir)}
	surface := v.radiusMM - r.Bed.DepthMM
	seed := uint32(12345)
	jitter := func() float64 { // -1..1, always the same
		seed = seed*1664525 + 1013904223
		return float64(seed>>8)/float64(1<<23) - 1
	}
	row := 0
	for d := surface + short*0.55; d < v.radiusMM-short*0.45; d += short * 0.92 {
		half := math.Sqrt(max(v.radiusMM*v.radiusMM-d*d, 0)) - long*0.5
		n := int(2 * half / (long * 0.98))
		if n < 0 {
			continue
		}
		for i := 0; i <= n; i++ {
			a := -half + (float64(i)+0.5*float64(row%2))*2*half/math.Max(1, float64(n))
			if n == 0 {
				a = 0
			}
			a += 0.12 * long * jitter()
			dd := d + 0.1*short*jitter()
			turn := 38 * jitter()
			p := drum.XY{X: a*along.X + dd*down.X, Y: a*along.Y + dd*down.Y}
			if math.Hypot(p.X, p.Y) > v.radiusMM-short*0.5 || a > half {
				continue
			}
			v.bean(p, tilt+turn, g, husk, fill(beanTint))
		}
		row++
	}
}

// bean draws one bean, its length at an angle to the horizontal.
func (v *view) bean(p drum.XY, deg, g float64, colour, more string) {
	x, y := v.at(p)
	if !v.clockwise {
		deg = -deg
	}
	v.raw(`<use href="#bean" transform="translate(%.2f %.2f) rotate(%.1f) scale(%.3f)" stroke="%s" %s/>`, x, y, deg, g*v.scale, colour, more)
}

// shell draws wall, paddles and shaft. The first paddle stands where the last
// bean leaves it.
func (v *view) shell(s *drum.Setup, r *drum.StageResult) {
	v.circle(v.cx, v.cy, v.scale*v.radiusMM+0.6, stroke(ink, 1.2, ""))
	for i := range s.Paddles {
		deg := 90 + r.Last.LeaveElevationRad*180/math.Pi + 360*float64(i)/float64(s.Paddles)
		v.path(v.move(wall(v.radiusMM, deg))+v.to(wall(v.radiusMM-s.PaddleMM.Value, deg)), stroke(ink, 0.9, ""))
	}
	if s.ShaftMM.Value > 0 {
		v.circle(v.cx, v.cy, v.scale*s.ShaftMM.Value/2, fmt.Sprintf(`fill="%s" stroke="%s" stroke-width="0.35"`, steel, ink))
	}
	v.line(v.cx-1.2, v.cy, v.cx+1.2, v.cy, stroke(ink, 0.2, ""))
	v.line(v.cx, v.cy-1.2, v.cx, v.cy+1.2, stroke(ink, 0.2, ""))
}

// throw draws a flight: the way, and a bean after every flightStepS.
func (v *view) throw(t *drum.Throw, g float64, beans bool) {
	d := v.move(t.Leave)
	for i := 1; i <= 40; i++ {
		d += v.to(t.At(float64(i) / 40))
	}
	v.path(d, stroke(rust, 0.4, `stroke-dasharray="0.1 1"`))
	if !beans {
		return
	}
	for s := flightStepS / 2; s < t.FlightS(); s += flightStepS {
		v.bean(t.At(s/t.FlightS()), 400*s, g, rust, `fill="#fff"`)
	}
}

// flightStepS is the time between two drawn beans of a flight.
const flightStepS = 0.025

// turning is the arrow outside the wall.
func (v *view) turning(fromDeg, toDeg float64) {
	r := v.radiusMM + 4/v.scale
	v.path("M"+v.arc(r, fromDeg, toDeg)[2:], stroke(ink, 0.5, ""))
	tip := wall(r, toDeg)
	a, b := wall(r+1.3/v.scale, toDeg-3.2*50/(v.scale*r)), wall(r-1.3/v.scale, toDeg-3.2*50/(v.scale*r))
	v.path(v.move(tip)+v.to(a)+v.to(b)+" Z", fill(ink))
}

// region draws where a probe stays covered.
func (v *view) region(p *drum.Placement) {
	if len(p.Region) == 0 {
		return
	}
	d := ""
	for i, b := range p.Region {
		at := wall(v.radiusMM-b.ToMM, b.AngleDeg)
		if i == 0 {
			d = v.move(at)
		} else {
			d += v.to(at)
		}
	}
	first, last := p.Region[0], p.Region[len(p.Region)-1]
	d += v.arc(v.radiusMM-first.FromMM, last.AngleDeg, first.AngleDeg) + " Z"
	v.path(d, fmt.Sprintf(`fill="url(#hatch)" stroke="%s" stroke-width="0.35"`, teal))
}

// probe marks the recommended place.
func (v *view) probe(p *drum.Placement, size float64) {
	x, y := v.at(p.Best.XY(v.radiusMM))
	v.circle(x, y, size, fmt.Sprintf(`fill="#fff" stroke="%s" stroke-width="0.5"`, teal))
	v.circle(x, y, size/3, fill(teal))
}

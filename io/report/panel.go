package report

import (
	"fmt"
	"html"
	"math"
	"strconv"
	"strings"
)

// The paper: 720 units are the 190 mm between the margins of an A4 page, so a
// unit is close to a CSS pixel.
const (
	paperW     = 720.0
	plotLeft   = 40.0
	plotRight  = 572.0
	titleH     = 16.0 // room for a panel's title above it
	labelGap   = 12.5 // between the lines of the labels on the right
	labelRows  = 2    // rows for the names of milestones
	labelRowH  = 13.0
	charW      = 5.6 // of the label type, on the wide side
	exactUnits = 0.15
)

// value takes from a sample what a line draws, in the panel's unit.
type value func(*Sample) float64

// line is one curve. The class names its stroke in the style sheet.
type line struct {
	class, label string
	v            value
}

// band is an area between two curves, drawn under the lines.
type band struct {
	class, label string
	lo, hi       value
}

// panel is one plot of the page, on the time axis that all share.
type panel struct {
	title  string  // with the unit
	height float64 // of the plot, before stretching
	bands  []band
	lines  []line
	zero   bool // draw the line at 0 stronger

	lo, hi  float64 // fixed scale, used when lo < hi
	least   float64 // least span of a scale made from the data
	typical bool    // a few far values may be off the scale
}

// scale is how a panel's values map to paper.
type scale struct{ lo, hi, top, bottom float64 }

func (s scale) y(v float64) float64 {
	return s.bottom - (v-s.lo)/(s.hi-s.lo)*(s.bottom-s.top)
}

// canvas writes SVG. All text goes through text.
type canvas struct{ strings.Builder }

func (c *canvas) f(format string, a ...any) { fmt.Fprintf(&c.Builder, format, a...) }

// text writes one line of text; anchor is start, middle or end.
func (c *canvas) text(x, y float64, class, anchor, s string) {
	c.f(`<text x="%s" y="%s" class="%s" text-anchor="%s">%s</text>`+"\n", co(x), co(y), class, anchor, html.EscapeString(s))
}

func (c *canvas) hline(x0, x1, y float64, class string) {
	c.f(`<path class="%s" d="M%s %sH%s"/>`+"\n", class, co(x0), co(y), co(x1))
}

func (c *canvas) vline(x, y0, y1 float64, class string) {
	c.f(`<path class="%s" d="M%s %sV%s"/>`+"\n", class, co(x), co(y0), co(y1))
}

// co writes a coordinate to a tenth of a unit, 0.03 mm on paper.
func co(v float64) string {
	v = math.Round(v*10) / 10
	return strconv.FormatFloat(v+0, 'f', -1, 64)
}

func coords(b *strings.Builder, p []pt) {
	for i, q := range p {
		switch i {
		case 0:
			b.WriteByte('M')
		case 1:
			b.WriteByte('L')
		default:
			b.WriteByte(' ')
		}
		b.WriteString(co(q.x) + " " + co(q.y))
	}
}

// timeAxis is the axis all panels of a batch share.
type timeAxis struct {
	s      []float64
	lo, hi float64
	step   float64
}

func newTimeAxis(samples []Sample) timeAxis {
	a := timeAxis{s: make([]float64, len(samples))}
	for i := range samples {
		a.s[i] = samples[i].S
	}
	a.lo, a.hi = a.s[0], a.s[len(a.s)-1]
	if a.hi <= a.lo {
		a.hi = a.lo + 1
	}
	a.step = timeStep(a.lo, a.hi, 14)
	return a
}

func (a *timeAxis) x(s float64) float64 {
	return plotLeft + (s-a.lo)/(a.hi-a.lo)*(plotRight-plotLeft)
}

func series(samples []Sample, v value) []float64 {
	out := make([]float64, len(samples))
	for i := range samples {
		out[i] = v(&samples[i])
	}
	return out
}

// draw puts the panel, its height times stretch, under y and returns where it
// ends.
func (p *panel) draw(c *canvas, samples []Sample, axis *timeAxis, y, stretch float64) float64 {
	top := y + titleH
	bottom := top + p.height*stretch
	values := make([][]float64, len(p.lines))
	for i, l := range p.lines {
		values[i] = series(samples, l.v)
	}
	lo, hi := p.lo, p.hi
	if lo >= hi {
		lo, hi = p.fit(samples, values)
	}
	sc := scale{lo, hi, top, bottom}
	most := max(2, int(sc.bottom-sc.top)/14)
	step := tickStep(lo, hi, most)
	for len(ticks(lo, hi, step)) < 2 { // one tick alone is no scale
		most++
		step = tickStep(lo, hi, most)
	}

	c.text(0, y+10.5, "title", "start", p.title)
	for _, t := range ticks(axis.lo, axis.hi, axis.step) {
		c.vline(axis.x(t), top, bottom, "grid")
	}
	for _, t := range ticks(lo, hi, step) {
		c.hline(plotLeft, plotRight, sc.y(t), "grid")
		c.hline(plotLeft-4, plotLeft, sc.y(t), "frame")
		c.text(plotLeft-7, sc.y(t)+3.5, "tick", "end", tickText(t, step))
	}
	if p.zero {
		c.hline(plotLeft, plotRight, sc.y(0), "zero")
	}

	var keys []key
	for _, b := range p.bands {
		keys = append(keys, p.drawBand(c, &b, samples, axis, sc))
	}
	offLo, offHi := math.Inf(1), math.Inf(-1)
	for i, l := range p.lines {
		keys = append(keys, drawLine(c, &l, values[i], axis, sc))
		for _, v := range values[i] {
			if known(v) && v < lo {
				offLo = min(offLo, v)
			}
			if known(v) && v > hi {
				offHi = max(offHi, v)
			}
		}
	}
	c.f(`<path class="frame" d="M%s %sV%sH%s"/>`+"\n", co(plotLeft), co(top), co(bottom), co(plotRight))
	if note := offScale(offLo, offHi, step); note != "" {
		c.text(plotRight, y+10.5, "note", "end", note)
	}
	p.drawKeys(c, keys, sc)
	return bottom
}

// offScale says how far lines leave the panel.
func offScale(lo, hi, step float64) string {
	fine := step / 10
	switch low, high := known(lo), known(hi); {
	case low && high:
		return "off scale (thick rim): " + tickText(lo, fine) + " to " + tickText(hi, fine)
	case low:
		return "off scale (thick rim): down to " + tickText(lo, fine)
	case high:
		return "off scale (thick rim): up to " + tickText(hi, fine)
	}
	return ""
}

// drawBand draws the area and returns its key. Its edges are held at the rims.
func (p *panel) drawBand(c *canvas, b *band, samples []Sample, axis *timeAxis, sc scale) key {
	hold := func(v float64) float64 { return sc.y(max(sc.lo, min(sc.hi, v))) }
	los, his := series(samples, b.lo), series(samples, b.hi)
	for i := range los { // an area needs both of its edges
		if !known(los[i]) || !known(his[i]) {
			los[i], his[i] = math.NaN(), math.NaN()
		}
	}
	k := key{class: b.class, label: b.label, area: true, y: math.NaN()}
	low, high := stretches(axis.s, los, axis.x, hold), stretches(axis.s, his, axis.x, hold)
	var d strings.Builder
	for i := range low {
		l, h := simplify(low[i], exactUnits), simplify(high[i], exactUnits)
		coords(&d, h)
		for j := range l {
			q := l[len(l)-1-j]
			d.WriteString("L" + co(q.x) + " " + co(q.y))
		}
		d.WriteByte('Z')
		k.x, k.y = l[len(l)-1].x, (l[len(l)-1].y+h[len(h)-1].y)/2
	}
	if d.Len() > 0 {
		c.f(`<path class="%s" d="%s"/>`+"\n", b.class, d.String())
	}
	return k
}

// drawLine draws the curve, marks on the rims where it leaves the panel, and
// returns its key.
func drawLine(c *canvas, l *line, v []float64, axis *timeAxis, sc scale) key {
	k := key{class: l.class, label: l.label, y: math.NaN()}
	var d, rim strings.Builder
	for _, run := range stretches(axis.s, v, axis.x, sc.y) {
		for _, piece := range clip(run, sc.top, sc.bottom) {
			thin := simplify(piece, exactUnits)
			coords(&d, thin)
			if len(thin) == 1 { // round caps make this a dot
				d.WriteString("h0")
			}
			k.x, k.y = thin[len(thin)-1].x, thin[len(thin)-1].y
		}
		for i := 1; i < len(run); i++ {
			for _, r := range [...]struct {
				y   float64
				off bool
			}{{sc.top, run[i].y < sc.top}, {sc.bottom, run[i].y > sc.bottom}} {
				if r.off && ((run[i-1].y < sc.top) || (run[i-1].y > sc.bottom)) {
					rim.WriteString("M" + co(run[i-1].x) + " " + co(r.y) + "H" + co(run[i].x))
				}
			}
		}
	}
	if rim.Len() > 0 {
		c.f(`<path class="rim" d="%s"/>`+"\n", rim.String())
	}
	if d.Len() > 0 {
		c.f(`<path class="line %s" d="%s"/>`+"\n", l.class, d.String())
	}
	return k
}

// fit makes a scale that shows the data.
func (p *panel) fit(samples []Sample, values [][]float64) (lo, hi float64) {
	all := append([][]float64{}, values...)
	if !p.typical {
		for _, b := range p.bands {
			all = append(all, series(samples, b.lo), series(samples, b.hi))
		}
	}
	return fit(all, p.typical, p.least)
}

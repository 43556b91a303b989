package report

import (
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// Overview is what a report on several batches shows: a comparison, or the
// summary of a lot or a month.
type Overview struct {
	Title, About string
	Result       string // in one sentence
	Table        Table
	Rows         []DotRow
	Lanes        []Lane
	LanesFrom    string // what the time of the lanes counts from
	Charts       []ControlChart
	Remarks      []string
}

// Table is a table in words; the first cell of a row names it.
type Table struct {
	Head []string
	Rows [][]string
}

// DotRow is one figure of several batches on one line: a mark for each batch.
type DotRow struct {
	Name, Unit string
	Decimals   int
	Values     []float64 // NaN = not known
	Chosen     int       // which is drawn filled; below 0 = none
}

// Lane is how one reading went in several batches at each moment of S: full
// range, middle half, and the chosen batch, all against the middle one of the
// others. NaN = not known. The scale goes as far as Range to both sides.
type Lane struct {
	Title                      string // with the unit
	Height, Range              float64
	S, Low, Q1, Q3, High, Pick []float64
}

// ControlChart is a figure from batch to batch with the limits it keeps while
// nothing but chance moves it.
type ControlChart struct {
	Title                string // with the unit
	Decimals             int
	IDs                  []uint64
	Values, Mean         []float64
	Centre, Lower, Upper float64
	MeanLower, MeanUpper float64
	Base                 string // what the limits were made from
	Verdict              string
	NoLimits             bool
}

//go:embed overview.html
var overviewSource string

var overview = parse("overview", overviewSource, template.FuncMap{
	"dots":   dots,
	"lanes":  lanes,
	"charts": charts,
})

// WriteOverview writes the report. Nothing is written if it cannot be drawn.
func WriteOverview(w io.Writer, o *Overview) error {
	for _, l := range o.Lanes {
		for _, v := range [][]float64{l.Low, l.Q1, l.Q3, l.High, l.Pick} {
			if len(v) != len(l.S) {
				return fmt.Errorf("report: lane %q: %d values at %d moments", l.Title, len(v), len(l.S))
			}
		}
	}
	for _, c := range o.Charts {
		if len(c.Values) != len(c.IDs) || len(c.Mean) != len(c.IDs) && !c.NoLimits {
			return fmt.Errorf("report: chart %q: %d values and %d means of %d batches", c.Title, len(c.Values), len(c.Mean), len(c.IDs))
		}
	}
	return write(w, overview, o)
}

// Quartiles are smallest, quarter, middle, three quarters and largest of the
// known values, by linear interpolation between order statistics (definition 7
// of Hyndman & Fan 1996); all NaN when none is known.
func Quartiles(values []float64) (q [5]float64) {
	var v []float64
	for _, x := range values {
		if known(x) {
			v = append(v, x)
		}
	}
	slices.Sort(v)
	for i := range q {
		if len(v) == 0 {
			q[i] = math.NaN()
			continue
		}
		at := float64(i) / 4 * float64(len(v)-1)
		j := min(int(at), max(len(v)-2, 0))
		q[i] = v[j]
		if j+1 < len(v) {
			q[i] += (at - float64(j)) * (v[j+1] - v[j])
		}
	}
	return q
}

const (
	dotLeft, dotRight = 165.0, 575.0
	dotRowH           = 24.0
)

// dots draws a line for each figure: its name, the range and middle half in grey,
// a mark for each batch, and middle and half in words.
func dots(rows []DotRow) template.HTML {
	if len(rows) == 0 {
		return ""
	}
	var c canvas
	c.f(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="img" aria-label="One row a figure, one mark a batch">`+"\n", co(paperW), co(dotRowH*float64(len(rows))+4))
	for i, r := range rows {
		y := dotRowH*float64(i) + dotRowH/2
		name := r.Name
		if r.Unit != "" {
			name += ", " + r.Unit
		}
		c.text(0, y+3.5, "label", "start", short(name, 22))
		q := Quartiles(r.Values)
		if !known(q[0]) {
			c.text(dotLeft, y+3.5, "missing", "start", "not known of any batch")
			continue
		}
		span := max(q[4]-q[0], 5*math.Pow10(-r.Decimals)) // not a picture of rounding
		mid := (q[0] + q[4]) / 2
		x := func(v float64) float64 { return (dotLeft+dotRight)/2 + (v-mid)/span*(dotRight-dotLeft-12) }
		c.hline(dotLeft, dotRight, y, "grid")
		c.f(`<path class="corridor" d="M%s %sH%sv8H%sZ"/>`+"\n", co(x(q[1])), co(y-4), co(max(x(q[3]), x(q[1])+0.5)), co(x(q[1])))
		c.vline(x(q[2]), y-7, y+7, "frame")
		for j, v := range r.Values {
			if known(v) && j != r.Chosen {
				c.f(`<circle class="dot" cx="%s" cy="%s" r="3"/>`+"\n", co(x(v)), co(y))
			}
		}
		if r.Chosen >= 0 && r.Chosen < len(r.Values) && known(r.Values[r.Chosen]) {
			c.f(`<circle class="chosen" cx="%s" cy="%s" r="4"/>`+"\n", co(x(r.Values[r.Chosen])), co(y))
		}
		c.text(dotLeft-6, y+3.5, "tick", "end", number(q[0], r.Decimals))
		c.text(dotRight+6, y+3.5, "tick", "start", number(q[4], r.Decimals))
		c.text(paperW, y+3.5, "label", "end", "middle "+number(q[2], r.Decimals))
	}
	c.WriteString("</svg>\n")
	return template.HTML(c.String())
}

// laneGap keeps the least tick of a lane, which stands at its rim, clear of the next
// lane's title.
const laneGap = 8.0

// lanes draws the lanes over one time axis.
func lanes(all []Lane, from string) template.HTML {
	if len(all) == 0 || len(all[0].S) == 0 {
		return ""
	}
	samples := make([]Sample, len(all[0].S))
	at := make(map[float64]int, len(samples))
	for i, s := range all[0].S {
		samples[i].S, at[s] = s, i
	}
	of := func(v []float64) value { return func(s *Sample) float64 { return v[at[s.S]] } }
	axis := newTimeAxis(samples)
	var body canvas
	y := -laneGap
	for _, l := range all {
		p := panel{title: l.Title, height: l.Height, lo: -l.Range, hi: l.Range, zero: true,
			bands: []band{{"sd", "full range", of(l.Low), of(l.High)}, {"corridor", "middle half", of(l.Q1), of(l.Q3)}},
			lines: []line{{"main", "chosen batch", of(l.Pick)}}}
		y = p.draw(&body, samples, &axis, y+laneGap, 1)
	}
	for _, t := range ticks(axis.lo, axis.hi, axis.step) {
		body.vline(axis.x(t), y, y+4, "frame")
		body.text(axis.x(t), y+15, "tick", "middle", clock(t))
	}
	body.text(plotRight+24, y+15, "tick", "start", "since "+from+", min:s")
	var c canvas
	c.f(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="img" aria-label="Spread of the batches over time since %s">`+"\n", co(paperW), co(y+20), template.HTMLEscapeString(from))
	c.WriteString(body.String())
	c.WriteString("</svg>\n")
	return template.HTML(c.String())
}

const chartH = 58.0

// charts draws the control charts under one another.
func charts(all []ControlChart) template.HTML {
	var b strings.Builder
	for i := range all {
		all[i].draw(&b)
	}
	return template.HTML(b.String())
}

func (k *ControlChart) draw(b *strings.Builder) {
	var c canvas
	top, bottom := titleH, titleH+chartH
	c.f(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="img" aria-label="%s">`+"\n", co(paperW), co(bottom+28), template.HTMLEscapeString(clean(k.Title)))
	c.text(0, 10.5, "title", "start", clean(k.Title))
	all := [][]float64{k.Values}
	if !k.NoLimits {
		all = append(all, []float64{k.Lower, k.Upper})
	}
	lo, hi := fit(all, false, 4*math.Pow10(-k.Decimals))
	sc := scale{lo, hi, top, bottom}
	n := len(k.IDs)
	x := func(i int) float64 { return plotLeft + (float64(i)+0.5)/float64(max(n, 1))*(plotRight-plotLeft) }
	step := tickStep(lo, hi, 4)
	for _, t := range ticks(lo, hi, step) {
		c.hline(plotLeft, plotRight, sc.y(t), "grid")
		c.text(plotLeft-7, sc.y(t)+3.5, "tick", "end", tickText(t, step))
	}
	if !k.NoLimits {
		c.f(`<path class="sd" d="M%s %sH%sV%sH%sZ"/>`+"\n", co(plotLeft), co(sc.y(k.MeanUpper)), co(plotRight), co(sc.y(k.MeanLower)), co(plotLeft))
		c.hline(plotLeft, plotRight, sc.y(k.Centre), "zero")
		c.hline(plotLeft, plotRight, sc.y(k.Upper), "limit")
		c.hline(plotLeft, plotRight, sc.y(k.Lower), "limit")
		var d strings.Builder
		var line []pt
		for i, m := range k.Mean {
			if known(m) {
				line = append(line, pt{x(i), sc.y(max(lo, min(hi, m)))})
			}
		}
		coords(&d, line)
		c.f(`<path class="line heavy" d="%s"/>`+"\n", d.String())
		ys := spread([]float64{sc.y(k.Upper), sc.y(k.MeanUpper), sc.y(k.Centre), sc.y(k.Lower)}, labelGap-1, top+3, bottom-2)
		for i, s := range []string{"limit of one batch", "limit of the mean", "centre " + number(k.Centre, k.Decimals), "limit of one batch"} {
			c.text(plotRight+8, ys[i]+3.5, "label", "start", s)
		}
	}
	for i, v := range k.Values {
		switch {
		case !known(v):
		case !k.NoLimits && (v < k.Lower || v > k.Upper):
			c.f(`<path class="beyond" d="M%s %sh8v8h-8Z"/>`+"\n", co(x(i)-4), co(sc.y(v)-4))
			c.text(x(i)+8, sc.y(v)+4, "markname", "start", strconv.FormatUint(k.IDs[i], 10))
		default:
			c.f(`<circle class="dot" cx="%s" cy="%s" r="2.2"/>`+"\n", co(x(i)), co(sc.y(v)))
		}
	}
	c.f(`<path class="frame" d="M%s %sV%sH%s"/>`+"\n", co(plotLeft), co(top), co(bottom), co(plotRight))
	for i := 0; i < n; i += max(1, (n+9)/10) {
		c.text(x(i), bottom+12, "tick", "middle", strconv.FormatUint(k.IDs[i], 10))
	}
	c.text(plotRight+8, bottom+12, "tick", "start", "batch")
	c.text(plotLeft, bottom+25, "label", "start", short(k.Verdict+" "+k.Base, 128))
	c.WriteString("</svg>\n")
	b.WriteString(c.String())
}

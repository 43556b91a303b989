package report

import (
	"bytes"
	_ "embed"
	"html/template"
	"io"
	"math"
)

// Sheet is the report on one batch: one page, read from the judgement down to
// what the machine did.
type Sheet struct {
	Title, About string
	Result       string // in one sentence
	Judged       []Judged
	JudgedBy     string   // what the usual ranges were made from
	Samples      []Sample // charge to drop, in order of S
	SettledS     float64  // until then the probe says little of the beans, s since charge
	Marks        []Mark
	Stages       []StageRow
	Events       []string // in order of time
	Notes        []string // of people, and the cup
	Foot         []string
}

// Judged is a figure on its usual range. Unknown limits are NaN: then the range
// is not drawn.
type Judged struct {
	Name, Value  string  // the value in words, with its unit
	At           float64 // the value; NaN = not known
	Lower, Upper float64 // usual range
	Least        float64 // half a range is never drawn narrower
}

// Outside reports whether the figure is not as usual.
func (j *Judged) Outside() bool { return j.At < j.Lower || j.At > j.Upper }

// Mark is a moment of the roast.
type Mark struct {
	S    float64 // since charge
	Name string
}

// StageRow is a row of the table of stages, rounded for people.
type StageRow struct{ Name, Until, Time, Share, Rise, Loss, Drum, Energy string }

//go:embed sheet.html
var sheetSource string

var sheet = parse("sheet", sheetSource, template.FuncMap{
	"judged": judgedStrips,
	"lane":   straightLane,
	"small":  smallPlots,
})

// WriteSheet writes the report of a batch. Nothing is written if it cannot be
// drawn.
func WriteSheet(w io.Writer, s *Sheet) error {
	b := Batch{Samples: s.Samples}
	if err := b.check(); err != nil {
		return err
	}
	return write(w, sheet, s)
}

const (
	judgedLeft, judgedRight = 380.0, 690.0
	judgedRowH              = 19.0
)

// judgedStrips draws a strip for each figure: the usual range dark in its middle,
// a wedge at the value, and a ring of priority 3 when it is outside.
func judgedStrips(all []Judged) template.HTML {
	var c canvas
	c.f(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="img" aria-label="Each figure on its own usual range">`+"\n", co(paperW), co(judgedRowH*float64(len(all))+2))
	for i := range all {
		j := &all[i]
		top := judgedRowH*float64(i) + 2
		c.text(0, top+11, "label", "start", j.Name)
		c.text(judgedLeft-14, top+11, "markname", "end", j.Value)
		c.f(`<path class="well" d="M%s %sH%sv11H%sZ"/>`+"\n", co(judgedLeft), co(top+1), co(judgedRight), co(judgedLeft))
		if !known(j.Lower) || !known(j.Upper) {
			c.text((judgedLeft+judgedRight)/2, top+10.5, "missing", "middle", "usual range not known yet")
			continue
		}
		// The usual range fills the middle half; what lies further out has as much
		// room again on each side.
		mid, half := (j.Lower+j.Upper)/2, max((j.Upper-j.Lower)/2, j.Least)
		centre, quarter := (judgedLeft+judgedRight)/2, (judgedRight-judgedLeft)/4
		c.f(`<path class="corridor" d="M%s %sH%sv11H%sZ"/>`+"\n", co(centre-quarter), co(top+1), co(centre+quarter), co(centre-quarter))
		c.vline(centre, top+1, top+12, "middle")
		if !known(j.At) {
			continue
		}
		if half <= 0 { // a figure that repeats to its last digit
			half = 1
		}
		x := centre + max(-1.9, min(1.9, (j.At-mid)/half))*quarter
		c.f(`<path class="chosen" d="M%s %sl5 11h-10Z"/>`+"\n", co(x), co(top+2))
		if j.Outside() {
			c.f(`<circle class="ring" cx="%s" cy="%s" r="7"/>`+"\n", co(judgedRight+16), co(top+6.5))
			c.text(judgedRight+16, top+10.2, "markname", "middle", "3")
		}
	}
	c.WriteString("</svg>\n")
	return template.HTML(c.String())
}

const (
	laneLeft, laneRight = 46.0, 716.0
	laneRangeC          = 8.0
	laneBandC           = 1.5 // that counts as on target
)

// straightLane draws the whole roast pulled straight: the probe minus its target.
func straightLane(s *Sheet) template.HTML {
	if len(s.Samples) < 2 {
		return ""
	}
	const top, bottom = 9.0, 139.0
	end := s.Samples[len(s.Samples)-1].S
	x := func(t float64) float64 { return laneLeft + max(0, min(1, t/end))*(laneRight-laneLeft) }
	sc := scale{-laneRangeC, laneRangeC, top, bottom}
	var c canvas
	c.f(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s 168" role="img" aria-label="Bean probe minus target over the roast">`+"\n", co(paperW))
	c.f(`<path class="well" d="M%s %sH%sV%sH%sZ"/>`+"\n", co(laneLeft), co(top), co(laneRight), co(bottom), co(laneLeft))
	c.f(`<path class="corridor" d="M%s %sH%sV%sH%sZ"/>`+"\n", co(laneLeft), co(sc.y(laneBandC)), co(laneRight), co(sc.y(-laneBandC)), co(laneLeft))
	c.hline(laneLeft, laneRight, sc.y(0), "middle")
	if known(s.SettledS) && s.SettledS > 0 {
		to := x(s.SettledS)
		for h := laneLeft - (bottom - top); h < to; h += 7 { // hatched at 45°: nothing is judged here
			from, until := max(h, laneLeft), min(h+bottom-top, to)
			c.f(`<path class="hatch" d="M%s %sL%s %s"/>`+"\n", co(from), co(bottom-(from-h)), co(until), co(bottom-(until-h)))
		}
	}
	for _, r := range []struct {
		at   float64
		text string
	}{{laneRangeC, "+8"}, {0, "target"}, {-laneRangeC, "−8"}} {
		c.text(laneLeft-6, sc.y(r.at)+3.5, "tick", "end", r.text)
	}
	axisS, dev := make([]float64, len(s.Samples)), make([]float64, len(s.Samples))
	for i := range s.Samples {
		p := &s.Samples[i]
		axisS[i], dev[i] = p.S, p.ProbeC-p.TargetC
		if p.S < s.SettledS {
			dev[i] = math.NaN()
		}
	}
	held := func(v float64) float64 { return sc.y(max(-laneRangeC, min(laneRangeC, v))) }
	d := pathOf(axisS, dev, x, held)
	c.f(`<path class="line bold" d="%s"/>`+"\n", d)
	rows := make([][]span, 2)
	for _, m := range s.Marks {
		if !known(m.S) || m.S > end+1 {
			continue
		}
		label := m.Name + " " + clock(m.S)
		half := charW * float64(len([]rune(label))) / 2
		mid := max(laneLeft+half, min(x(m.S), laneRight-half))
		c.vline(x(m.S), top-2, bottom+4, "trip")
		if r := row(rows, mid-half-4, mid+half+4); r >= 0 {
			c.text(mid, bottom+14+float64(r)*10.5, "label", "middle", label)
		}
	}
	c.WriteString("</svg>\n")
	return template.HTML(c.String())
}

func pathOf(s, v []float64, x, y func(float64) float64) string {
	var d bytes.Buffer
	for _, run := range stretches(s, v, x, y) {
		for i, p := range simplify(run, exactUnits) {
			d.WriteString(map[bool]string{true: "M", false: "L"}[i == 0] + co(p.x) + " " + co(p.y))
		}
	}
	return d.String()
}

// smallPlots draws the probe at true scale beside four small strips of what the
// machine did.
func smallPlots(s *Sheet) template.HTML {
	if len(s.Samples) < 2 {
		return ""
	}
	const shapeRight, top, bottom = 330.0, 18.0, 166.0
	end := s.Samples[len(s.Samples)-1].S
	at := func(left, right float64) func(float64) float64 {
		return func(t float64) float64 { return left + max(0, min(1, t/end))*(right-left) }
	}
	axisS := make([]float64, len(s.Samples))
	for i := range s.Samples {
		axisS[i] = s.Samples[i].S
	}
	values := func(of value) []float64 { return series(s.Samples, of) }
	var c canvas
	c.f(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s 172" role="img" aria-label="Shape of the roast, and what the machine did">`+"\n", co(paperW))
	c.text(0, 10.5, "title", "start", "Shape: probe and target, true scale, °C")
	c.f(`<path class="well" d="M30 %sH%sV%sH30Z"/>`+"\n", co(top), co(shapeRight), co(bottom))
	sc := scale{40, 240, top, bottom}
	for _, v := range []float64{40, 140, 240} {
		c.hline(30, shapeRight, sc.y(v), "grid")
		c.text(25, sc.y(v)+3.5, "tick", "end", number(v, 0))
	}
	held := func(v float64) float64 { return sc.y(max(40, min(240, v))) }
	c.f(`<path class="line set" d="%s"/>`+"\n", pathOf(axisS, values(func(p *Sample) float64 { return p.TargetC }), at(30, shapeRight), held))
	c.f(`<path class="line bold" d="%s"/>`+"\n", pathOf(axisS, values(func(p *Sample) float64 { return p.ProbeC }), at(30, shapeRight), held))
	c.text(360, 10.5, "title", "start", "What the machine did")
	const left, right, high = 468.0, 660.0, 32.0
	for i, x := range []struct {
		name string
		of   value
	}{{"Base, °C", func(p *Sample) float64 { return p.SkinC }}, {"Inlet air, °C", func(p *Sample) float64 { return p.InletC }},
		{"Air flow, kg/h", func(p *Sample) float64 { return p.FlowKgPerH }}, {"Drum, mm/s", func(p *Sample) float64 { return p.DrumMMPerS }}} {
		y := top + float64(i)*(high+5.5)
		c.text(360, y+19, "label", "start", x.name)
		c.f(`<path class="well" d="M%s %sH%sV%sH%sZ"/>`+"\n", co(left), co(y), co(right), co(y+high), co(left))
		v := values(x.of)
		lo, hi := fit([][]float64{v}, false, 10)
		if !known(lo) || !known(hi) || !anyKnown(v) {
			c.text(left+6, y+19, "missing", "start", "not known")
			continue
		}
		strip := scale{lo, hi, y + 2, y + high - 2}
		c.f(`<path class="line main" d="%s"/>`+"\n", pathOf(axisS, v, at(left, right), strip.y))
		c.text(left-6, y+19, "tick", "end", number(firstKnown(v), 0))
		c.text(right+6, y+19, "tick", "start", number(lastKnown(v), 0))
	}
	c.WriteString("</svg>\n")
	return template.HTML(c.String())
}

func firstKnown(v []float64) float64 {
	for _, x := range v {
		if known(x) {
			return x
		}
	}
	return math.NaN()
}

func lastKnown(v []float64) float64 {
	for i := len(v) - 1; i >= 0; i-- {
		if known(v[i]) {
			return v[i]
		}
	}
	return math.NaN()
}

func anyKnown(v []float64) bool { return known(firstKnown(v)) }

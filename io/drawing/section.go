package drawing

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"drumwright/control/drum"
)

// Page is what a page shows.
type Page struct {
	Machine   string
	Setup     *drum.Setup
	Stages    []*drum.StageResult // 1 to 6, in the order of a roast
	Place     *drum.Placement     // nil for none
	Clockwise bool                // seen so that the drum turns clockwise
	Foot      []string            // what is guessed, who and when; one line each
}

// The page is A4 on its side, mm.
const (
	pageW, pageH = 297.0, 210.0
	margin       = 10.0
	bigX, bigY   = 93.0, 100.0
	bigR         = 56.0
)

// scales are the scales of a print, paper to machine.
var scales = []float64{2, 1.5, 1, 1 / 1.5, 1 / 2.0, 1 / 2.5, 1 / 3.0, 1 / 4.0, 1 / 5.0, 1 / 8.0, 1 / 10.0, 1 / 15.0}

func scaleFor(radiusMM float64) (float64, string) {
	for _, s := range scales {
		if s*radiusMM <= bigR {
			if s >= 1 {
				return s, fmt.Sprintf("%g : 1", s)
			}
			return s, fmt.Sprintf("1 : %g", math.Round(10/s)/10)
		}
	}
	return bigR / radiusMM, "not to scale"
}

// CrossSection draws the page: one large section with every part named, a small
// one for each stage with its figures, and where the probe goes.
func CrossSection(pg Page) ([]byte, error) {
	if pg.Setup == nil || len(pg.Stages) == 0 || len(pg.Stages) > 6 {
		return nil, errors.New("cross-section: a drum and one to six stages are needed")
	}
	p := &pen{}
	p.raw(`<svg xmlns="http://www.w3.org/2000/svg" width="%gmm" height="%gmm" viewBox="0 0 %g %g" font-family="sans-serif" fill="%s">`, pageW, pageH, pageW, pageH, ink)
	p.raw(`<title>%s: the drum in cross-section</title>`, escaper.Replace(pg.Machine))
	p.raw(`<defs>`)
	p.raw(`<g id="bean" stroke-width="0.55"><ellipse rx="%g" ry="%g"/><path d="M%g 0 Q%g %g 0 0 T%g 0" fill="none"/></g>`,
		beanLongMM/2, beanShortMM/2, -beanLongMM*0.36, -beanLongMM*0.18, -beanShortMM*0.2, beanLongMM*0.36)
	p.raw(`<pattern id="hatch" width="1.6" height="1.6" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="1.6" height="1.6" fill="%s" fill-opacity="0.13"/><line x1="0" y1="0" x2="0" y2="1.6" stroke="%s" stroke-width="0.45"/></pattern>`, teal, teal)
	p.raw(`</defs><rect width="%g" height="%g" fill="#fff"/>`, pageW, pageH)

	scale, words := scaleFor(pg.Setup.RadiusMM.Value)
	turns := "anticlockwise"
	if pg.Clockwise {
		turns = "clockwise"
	}
	p.text(margin, 16, 6, "start", `font-weight="bold"`, pg.Machine+": the drum in cross-section")
	p.text(margin, 22, 3, "start", "", fmt.Sprintf("Seen from the side from which it turns %s. Large drawing %s when printed on A4 at full size. Estimates: look through the glass before you drill.", turns, words))

	v := &view{pen: p, cx: bigX, cy: bigY, scale: scale, radiusMM: pg.Setup.RadiusMM.Value, clockwise: pg.Clockwise}
	v.large(&pg)
	small(p, &pg)
	foot(p, &pg)
	p.raw(`</svg>`)
	return p.b.Bytes(), nil
}

// label is a name with a line to what it names.
type label struct {
	x, y  float64 // the named point, on paper
	lines []string
	tone  string
}

func (v *view) large(pg *Page) {
	s, first, last := pg.Setup, pg.Stages[0], pg.Stages[len(pg.Stages)-1]
	v.bed(first)
	end := func(r *drum.StageResult, q drum.Quantity) drum.XY { return wall(v.radiusMM, r.Figures[q].Value) }
	if last != first {
		v.path(v.move(end(last, drum.ToeDeg))+v.to(end(last, drum.ShoulderDeg)), stroke(husk, 0.4, `stroke-dasharray="2.2 1.4"`))
	}
	if pg.Place != nil {
		v.region(pg.Place)
	}
	v.shell(s, first)
	if s.Paddles > 0 {
		v.throw(&first.First, 1, false)
		v.throw(&first.Last, 1, true)
	}
	v.turning(118, 146)
	v.name(pg, first, last)
}

// name puts the labels in a column on either side.
func (v *view) name(pg *Page, first, last *drum.StageResult) {
	var all []label
	say := func(p drum.XY, tone, format string, args ...any) {
		x, y := v.at(p)
		letters := 22
		if x < v.cx {
			letters = 15 // the column on the left is narrow
		}
		all = append(all, label{x, y, wrap(fmt.Sprintf(format, args...), letters), tone})
	}
	f, s := &first.Figures, pg.Setup
	say(wall(v.radiusMM, f[drum.ShoulderDeg].Value), husk, "shoulder of the bed, %s from the bottom", shown(f[drum.ShoulderDeg], "°", 0))
	say(wall(v.radiusMM, f[drum.ToeDeg].Value), husk, "toe of the bed, %s", degreesSide(f[drum.ToeDeg].Value))
	say(wall(v.radiusMM-0.3*first.Bed.DepthMM, 0.8*f[drum.ToeDeg].Value+0.2*f[drum.ShoulderDeg].Value), husk, "bed: %s deep, %s of the drum", shown(f[drum.DepthMM], "mm", 0), shown(f[drum.FillPercent], "%", 0))
	if last != first {
		a, b := wall(v.radiusMM, last.Figures[drum.ToeDeg].Value), wall(v.radiusMM, last.Figures[drum.ShoulderDeg].Value)
		say(drum.XY{X: 0.14*a.X + 0.86*b.X, Y: 0.14*a.Y + 0.86*b.Y}, husk, "surface at %s", last.Name)
	}
	if s.Paddles > 0 {
		say(first.Last.At(0.3), rust, "last beans off a paddle, one every %g s", flightStepS)
		say(first.First.At(0.35), rust, "first beans off a paddle")
		where := "on the bed"
		if !first.Last.OnBed {
			where = fmt.Sprintf("on bare wall, %.0f mm beyond the toe", f[drum.BeyondToeMM].Value)
		}
		say(first.Last.Land, rust, "land %s past the shaft's centre line, %s", shown(f[drum.LandingMM], "mm", 0), where)
		deg := 90 + first.Last.LeaveElevationRad*180/math.Pi
		say(wall(v.radiusMM-0.3*s.PaddleMM.Value, deg), ink, "paddle, %.0f mm high, where the last beans leave: %s above the shaft", s.PaddleMM.Value, shown(f[drum.LastOffDeg], "°", 0))
	}
	if s.ShaftMM.Value > 0 {
		say(drum.XY{X: -0.35 * s.ShaftMM.Value, Y: 0.35 * s.ShaftMM.Value}, ink, "shaft, %.0f mm thick", s.ShaftMM.Value)
	}
	say(wall(v.radiusMM, 268), ink, "drum, inner radius %s", shown(s.RadiusMM, "mm", 0))
	if pl := pg.Place; pl != nil {
		if len(pl.Region) > 0 {
			b := pl.Region[len(pl.Region)*7/8]
			say(wall(v.radiusMM-(b.FromMM+b.ToMM)/2, b.AngleDeg), teal, "hatched: under beans at every stage")
		}
		v.dimension(pl)
		say(pl.Best.XY(v.radiusMM), teal, "bean probe: %.0f mm from the wall, %.0f° from the bottom", pl.Best.WallMM, pl.Best.AngleDeg)
	}
	v.place(all)
}

// dimension shows the angle of the probe from the bottom.
func (v *view) dimension(pl *drum.Placement) {
	v.path(v.move(drum.XY{})+v.to(wall(v.radiusMM, 0)), stroke(teal, 0.25, `stroke-dasharray="3 1 0.6 1"`))
	v.path(v.move(drum.XY{})+v.to(wall(v.radiusMM, pl.Best.AngleDeg)), stroke(teal, 0.25, `stroke-dasharray="3 1 0.6 1"`))
	r := 0.42 * v.radiusMM
	v.path("M"+v.arc(r, 0, pl.Best.AngleDeg)[2:], stroke(teal, 0.35, ""))
	x, y := v.at(wall(r-3.4/v.scale, pl.Best.AngleDeg/2))
	v.text(x, y+1, 3, "middle", fill(teal)+` paint-order="stroke" stroke="#fff" stroke-width="0.9"`, fmt.Sprintf("%.0f°", pl.Best.AngleDeg))
	v.probe(pl, 1.5)
}

// place sorts labels to the nearer side and spreads them so that they do not
// touch.
func (v *view) place(all []label) {
	const size, step, gap = 2.9, 3.5, 2.6
	for _, side := range [...]float64{-1, 1} {
		var list []label
		height := 0.0
		for _, l := range all {
			if (l.x < v.cx) == (side < 0) {
				list = append(list, l)
				height += step*float64(len(l.lines)) + gap
			}
		}
		slices.SortStableFunc(list, func(a, b label) int { return int(math.Copysign(1, a.y-b.y)) })
		// Wished heights, pushed down where they touch, then up from the end.
		const top, bottom = 30.0, 171.0
		ys := make([]float64, len(list))
		next := top
		for i := range list {
			h := step*float64(len(list[i].lines)) + gap
			ys[i] = max(next, list[i].y-h/2)
			next = ys[i] + h
		}
		limit := bottom
		for i := len(list) - 1; i >= 0; i-- {
			h := step*float64(len(list[i].lines)) + gap
			ys[i] = min(ys[i], limit-h)
			limit = ys[i]
		}
		x, anchor := margin, "start"
		edge := v.cx - v.scale*v.radiusMM - 5
		if side > 0 {
			edge = v.cx + v.scale*v.radiusMM + 5
			x = edge + 2
		}
		for i, l := range list {
			widest := 0
			for k, line := range l.lines {
				v.text(x, ys[i]+size+step*float64(k), size, anchor, fill(l.tone), line)
				widest = max(widest, len([]rune(line)))
			}
			from := x + 0.5*size*float64(widest) + 1.2
			if side > 0 {
				from = x - 1.2
			}
			y := ys[i] + size*0.65
			if side < 0 && from > edge {
				from = edge
			}
			v.path(fmt.Sprintf("M%.2f %.2f L%.2f %.2f L%.2f %.2f", from, y, edge, y, l.x, l.y), stroke(l.tone, 0.22, ""))
			v.circle(l.x, l.y, 0.55, fill(l.tone))
		}
	}
}

// shown writes a figure with its uncertainty, if that shows at this precision.
func shown(f drum.Figure, unit string, decimals int) string {
	sep := nbsp
	if unit == "°" || unit == "" {
		sep = ""
	}
	if f.Uncertainty >= 0.5*math.Pow(10, -float64(decimals)) {
		return fmt.Sprintf("%.*f"+nbsp+"±"+nbsp+"%.*f%s%s", decimals, f.Value, decimals, f.Uncertainty, sep, unit)
	}
	return fmt.Sprintf("%.*f%s%s", decimals, f.Value, sep, unit)
}

func degreesSide(deg float64) string {
	if deg < 0 {
		return fmt.Sprintf("%.0f° from the bottom on the falling side", -deg)
	}
	return fmt.Sprintf("%.0f° from the bottom on the rising side", deg)
}

// small draws a section for each stage with its figures, two in a row.
func small(p *pen, pg *Page) {
	const left, top, width = 193.0, 30.0, 49.0
	rows := (len(pg.Stages) + 1) / 2
	height := 140.0 / float64(max(rows, 2))
	r := min(20, height/2-17)
	for i, st := range pg.Stages {
		x, y := left+width*float64(i%2), top+height*float64(i/2)
		f := &st.Figures
		p.text(x, y+3, 3.6, "start", `font-weight="bold"`, st.Name)
		v := &view{pen: p, cx: x + r + 2, cy: y + 8 + r, scale: r / pg.Setup.RadiusMM.Value, radiusMM: pg.Setup.RadiusMM.Value, clockwise: pg.Clockwise}
		v.bed(st)
		v.shell(pg.Setup, st)
		if pg.Setup.Paddles > 0 {
			v.throw(&st.First, 1, false)
			v.throw(&st.Last, 1, false)
			land, landY := v.at(st.Last.Land)
			p.circle(land, landY, 0.7, fill(rust))
		}
		if pg.Place != nil {
			v.probe(pg.Place, 0.9)
		}
		ty := y + 2*r + 13.5
		row := func(a, b string) {
			p.text(x, ty, 2.7, "start", "", a)
			p.text(x+width-4, ty, 2.7, "end", "", b)
			ty += 3.5
		}
		row("mass lost", fmt.Sprintf("%.3g %%", 100*st.LossFrac))
		row("skin speed", shown(f[drum.SkinMMS], "mm/s", 0))
		row(shown(f[drum.DrumRPM], "rpm", 1), shown(f[drum.DriveHz], "Hz", 1))
		row("Froude number", shown(f[drum.Froude], "", 2))
		row("beans, bed depth", fmt.Sprintf("%.0f g, %.0f mm", f[drum.MassG].Value, f[drum.DepthMM].Value))
	}
}

// foot explains the signs and says what is not sure.
func foot(p *pen, pg *Page) {
	y := 176.5
	p.line(margin, y, pageW-margin, y, stroke(faint, 0.2, ""))
	y += 5
	if pl := pg.Place; pl != nil {
		p.text(margin, y, 3, "start", `font-weight="bold" `+fill(teal), fmt.Sprintf("Bean probe %.0f mm from the wall, %.0f° from the bottom towards the rising side", pl.Best.WallMM, pl.Best.AngleDeg))
		y += 4
		p.text(margin, y, 2.7, "start", "", fmt.Sprintf("Beans over the tip at %s, where the bed is thinnest: %s with all beans in the bed, %s with 30 %% of them on paddles or in the air. Smallest green mass that covers a probe: %s.",
			pl.Shallowest, shown(pl.CoverFullMM, "mm", 0), shown(pl.CoverThinMM, "mm", 0), shown(pl.LeastBatchG, "g", 0)))
		y += 4
	}
	lines := pg.Foot
	if pl := pg.Place; pl != nil {
		lines = nil
		for _, r := range pl.Remarks[:min(2, len(pl.Remarks))] {
			lines = append(lines, strings.ToUpper(r[:1])+r[1:]+".")
		}
		lines = append(lines, pg.Foot...)
	}
	for _, line := range lines {
		for _, l := range wrap(line, 190) {
			p.text(margin, y, 2.7, "start", "", l)
			y += 3.8
		}
	}
	p.text(pageW-margin, pageH-5, 2.5, "end", fill(faint), strings.TrimSpace("beans drawn at their size; ± covers about 95 %"))
}

package report

import (
	"cmp"
	"html/template"
	"slices"
	"unicode/utf8"

	"drumwright/io/record"
)

// corridorC is half the width of the corridor drawn around the target, K.
const corridorC = 1.0

// panels are the plots of a batch, top to bottom.
func panels() []panel {
	return []panel{
		{title: "Bean temperature, °C", height: 158, least: 20,
			bands: []band{
				{"sd", "estimate ±1 sd",
					func(s *Sample) float64 { return s.TrueC - s.TrueSdC },
					func(s *Sample) float64 { return s.TrueC + s.TrueSdC }},
				{"corridor", "target ±1 °C",
					func(s *Sample) float64 { return s.TargetC - corridorC },
					func(s *Sample) float64 { return s.TargetC + corridorC }},
			},
			lines: []line{
				{"second", "beans, estimated", func(s *Sample) float64 { return s.TrueC }},
				{"main", "probe", func(s *Sample) float64 { return s.ProbeC }},
			}},
		{title: "Probe against target, °C", height: 58, lo: -8, hi: 8, zero: true,
			// 0·TargetC: the corridor is not known where the target is not.
			bands: []band{{"corridor", "target ±1 °C",
				func(s *Sample) float64 { return 0*s.TargetC - corridorC },
				func(s *Sample) float64 { return 0*s.TargetC + corridorC }}},
			lines: []line{{"main", "probe − target", func(s *Sample) float64 { return s.ProbeC - s.TargetC }}}},
		{title: "Rate of rise, °C/min", height: 66, least: 4, typical: true,
			lines: []line{{"main", "rise, estimated", func(s *Sample) float64 { return s.RateKPerMin }}}},
		{title: "Machine temperatures, °C", height: 104, least: 20,
			lines: []line{
				{"set", "inlet air, set", func(s *Sample) float64 { return s.InletSetC }},
				{"main", "inlet air", func(s *Sample) float64 { return s.InletC }},
				{"heavy", "drum skin", func(s *Sample) float64 { return s.SkinC }},
				{"set2", "drum skin, set", func(s *Sample) float64 { return s.SkinSetC }},
				{"thin", "exhaust air", func(s *Sample) float64 { return s.ExhaustC }},
			}},
		{title: "Heater output, % of rated power", height: 54, lo: -3, hi: 103,
			lines: []line{
				{"main", "air heater", func(s *Sample) float64 { return 100 * s.AirDuty }},
				{"heavy", "radiant panels", func(s *Sample) float64 { return 100 * s.RadiantDuty }},
			}},
		{title: "Drum skin speed, mm/s", height: 50, least: 50,
			lines: []line{
				{"thin", "drum", func(s *Sample) float64 { return s.DrumMMPerS }},
				{"set", "drum, set", func(s *Sample) float64 { return s.DrumSetMMPerS }},
			}},
		{title: "Air flow, kg/h", height: 38, least: 10,
			lines: []line{{"main", "air flow", func(s *Sample) float64 { return s.FlowKgPerH }}}},
		{title: "Loss, estimated, % of green mass", height: 52, least: 2,
			bands: []band{{"sd", "loss ±1 sd",
				func(s *Sample) float64 { return 100 * (s.Loss - s.LossSd) },
				func(s *Sample) float64 { return 100 * (s.Loss + s.LossSd) }}},
			lines: []line{{"main", "loss", func(s *Sample) float64 { return 100 * s.Loss }}}},
	}
}

// plots draws all panels of a batch as one SVG element at most height units
// high, if that leaves the panels readable; empty without samples.
func plots(b *Batch, height float64) template.HTML {
	if len(b.Samples) == 0 {
		return ""
	}
	const head, foot = labelRows*labelRowH - 2, 20.0
	all := panels()
	fixed, plain := head+foot, 0.0
	for i := range all {
		fixed += titleH
		plain += all[i].height
	}
	stretch := max(leastStretch, min(mostStretch, (height-fixed)/plain))
	bottom := fixed - foot + plain*stretch

	axis := newTimeAxis(b.Samples)
	var c canvas
	c.f(`<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %s %s" role="img" aria-label="Curves of batch %d over time since charge">`+"\n",
		co(paperW), co(bottom+foot), b.ID)
	marks(&c, b.Events, &axis, head, bottom)
	y := head
	for i := range all {
		y = all[i].draw(&c, b.Samples, &axis, y, stretch)
	}
	for _, t := range ticks(axis.lo, axis.hi, axis.step) {
		c.vline(axis.x(t), y, y+4, "frame")
		c.text(axis.x(t), y+15, "tick", "middle", clock(t))
	}
	c.text(plotRight+24, y+15, "tick", "start", "since charge, min:s")
	c.WriteString("</svg>\n")
	return template.HTML(c.String())
}

// marks draws milestones and trips as vertical lines through all panels, with
// their names above. A name that finds no room is left to the table of events.
func marks(c *canvas, events []Event, axis *timeAxis, top, bottom float64) {
	shown := make([]Event, 0, len(events))
	for _, e := range events {
		if (e.Kind == record.Milestone || e.Kind == record.Trip) && known(e.S) && e.S >= axis.lo && e.S <= axis.hi {
			shown = append(shown, e)
		}
	}
	slices.SortStableFunc(shown, func(a, b Event) int { return cmp.Compare(a.S, b.S) })
	rows := make([][]span, labelRows)
	var names canvas // over all lines, which pass behind names of lower rows
	for _, e := range shown {
		x := axis.x(e.S)
		class, label := "mark", short(e.Name, 24)
		if e.Kind == record.Trip {
			class, label = "trip", "trip: "+label
		}
		label += " " + clock(e.S)
		half := charW * float64(utf8.RuneCountInString(label)) / 2
		mid := max(half, min(x, paperW-half))
		r := row(rows, mid-half-4, mid+half+4)
		if r < 0 {
			c.vline(x, top, bottom, class)
			continue
		}
		base := float64(labelRows-r)*labelRowH - 4
		c.vline(x, base+3, bottom, class)
		names.text(mid, base, "markname", "middle", label)
	}
	c.WriteString(names.String())
}

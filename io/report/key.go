package report

// key is a label at the right of a panel, led to the end of what it names.
type key struct {
	class, label string
	area         bool
	x, y         float64 // where the curve ends; y NaN = nothing was known
}

// drawKeys writes the labels as near to their curves' ends as they fit. What
// was never known is named at the foot, in words.
func (p *panel) drawKeys(c *canvas, keys []key, sc scale) {
	const swatch = plotRight + 14
	want := make([]float64, len(keys))
	for i, k := range keys {
		want[i] = k.y
		if !known(k.y) {
			want[i] = sc.bottom
		}
	}
	for i, y := range spread(want, labelGap, sc.top+3, sc.bottom-2) {
		k := keys[i]
		if !known(k.y) {
			c.text(swatch-8, y+3.5, "missing", "start", k.label+": not known")
			continue
		}
		if k.x < plotRight-1 { // ended early: lead from where it did
			c.hline(k.x, plotRight, k.y, "early")
		}
		c.f(`<path class="lead" d="M%s %sL%s %sL%s %s"/>`+"\n", co(plotRight), co(k.y), co(swatch-3), co(y), co(swatch), co(y))
		if k.area {
			c.f(`<path class="%s" d="M%s %sh20v7h-20Z"/>`+"\n", k.class, co(swatch), co(y-3.5))
		} else {
			c.f(`<path class="line %s" d="M%s %sh20"/>`+"\n", k.class, co(swatch), co(y))
		}
		c.text(swatch+25, y+3.5, "label", "start", k.label)
	}
}

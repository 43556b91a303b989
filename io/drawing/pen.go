package drawing

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"
)

// Ink and paper. What is told apart by colour is told apart by shape or hatching
// too, so that a grey print loses nothing.
const (
	ink      = "#24313a"
	faint    = "#8b969c"
	bedTint  = "#efe4d0"
	beanTint = "#faf5ea"
	husk     = "#7c6543"
	steel    = "#c9d0d3"
	rust     = "#b1451f"
	teal     = "#12717a"
)

// pen writes SVG. All lengths are mm on paper, y downward.
type pen struct{ b bytes.Buffer }

func (p *pen) raw(format string, args ...any) { fmt.Fprintf(&p.b, format+"\n", args...) }

var escaper = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;")

// text writes one line; anchor is start, middle or end.
func (p *pen) text(x, y, size float64, anchor, style, s string) {
	if s != "" {
		p.raw(`<text x="%.2f" y="%.2f" font-size="%.2f" text-anchor="%s" %s>%s</text>`, x, y, size, anchor, style, escaper.Replace(s))
	}
}

func (p *pen) line(x1, y1, x2, y2 float64, style string) {
	p.raw(`<line x1="%.2f" y1="%.2f" x2="%.2f" y2="%.2f" %s/>`, x1, y1, x2, y2, style)
}

func (p *pen) circle(x, y, r float64, style string) {
	p.raw(`<circle cx="%.2f" cy="%.2f" r="%.2f" %s/>`, x, y, r, style)
}

func (p *pen) path(d, style string) { p.raw(`<path d="%s" %s/>`, d, style) }

// nbsp keeps a number and its unit on one line.
const nbsp = "\u00a0"

// wrap breaks words into lines of about so many letters.
func wrap(s string, letters int) (lines []string) {
	line := ""
	for _, w := range strings.Split(s, " ") {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(w) > letters {
			lines = append(lines, line)
			line = ""
		}
		if line != "" {
			line += " "
		}
		line += w
	}
	return append(lines, line)
}

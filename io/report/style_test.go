package report

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// contrastOnWhite is the contrast ratio of WCAG 2.2 for an sRGB colour on white.
func contrastOnWhite(hex string) float64 {
	n, _ := strconv.ParseUint(hex, 16, 32)
	lum := 0.0
	for i, weight := range [...]float64{0.0722, 0.7152, 0.2126} {
		c := float64(n>>(8*i)&0xFF) / 255
		if c <= 0.04045 {
			c /= 12.92
		} else {
			c = math.Pow((c+0.055)/1.055, 2.4)
		}
		lum += weight * c
	}
	return 1.05 / (lum + 0.05)
}

// Black on white is 21 by the definition in WCAG 2.2; grey 767676 on white is
// the well-known lightest grey that passes 4.5, at 4.54 (from memory).
func TestContrastFormula(t *testing.T) {
	for hex, want := range map[string]float64{"000000": 21, "FFFFFF": 1, "767676": 4.54} {
		if got := contrastOnWhite(hex); math.Abs(got-want) > 0.005 {
			t.Errorf("contrast of %s is %.3f, want %.2f", hex, got, want)
		}
	}
}

var rule = regexp.MustCompile(`(?m)^\s*([^{@\n]+) \{([^}]*)\}`)
var colour = regexp.MustCompile(`(color|fill|stroke): #([0-9A-F]{6})`)

// Text needs 4.5 and lines that carry meaning 3.0 (WCAG 2.2, 1.4.3 and 1.4.11);
// all are greys, so that every eye and every printer sees the same.
func TestStyleIsReadableInGrey(t *testing.T) {
	quiet := []string{".grid", ".sd", ".corridor", ".well", ".middle", "th, td", "html", "svg .title, svg .note, svg .markname"} // grid, areas and halo are background
	checked := 0
	for _, m := range rule.FindAllStringSubmatch(styleSource, -1) {
		for _, c := range colour.FindAllStringSubmatch(m[2], -1) {
			hex := c[2]
			if hex[:2] != hex[2:4] || hex[:2] != hex[4:] {
				t.Errorf("%s has the colour #%s, which is not a grey", m[1], hex)
			}
			least := 3.0
			if c[1] == "color" || strings.Contains(m[1], "text") || strings.Contains(m[1], ".tick") {
				least = 4.5
			}
			background := false
			for _, q := range quiet {
				background = background || (strings.HasSuffix(m[1], q) && c[1] != "color")
			}
			if background {
				continue
			}
			checked++
			if got := contrastOnWhite(hex); got < least {
				t.Errorf("%s: %s #%s has contrast %.2f on white, needs %.1f", m[1], c[1], hex, got, least)
			}
		}
	}
	if checked < 15 {
		t.Errorf("only %d colours were checked", checked)
	}
}

// Curves in one panel must differ in stroke, as grey alone does not tell them
// apart.
func TestCurvesOfAPanelDifferInStroke(t *testing.T) {
	strokes := map[string]string{}
	for _, m := range rule.FindAllStringSubmatch(styleSource, -1) {
		strokes[strings.TrimPrefix(m[1], "svg .")] = regexp.MustCompile(`stroke: #[0-9A-F]+;`).ReplaceAllString(m[2], "")
	}
	for _, p := range panels() {
		seen := map[string]string{}
		for _, l := range p.lines {
			s, ok := strokes[l.class]
			if !ok {
				t.Errorf("%s: the class %s of %s has no style", p.title, l.class, l.label)
			}
			if other, twice := seen[s]; twice {
				t.Errorf("%s: %s and %s look the same without colour", p.title, l.label, other)
			}
			seen[s] = l.label
		}
		for _, b := range p.bands {
			if _, ok := strokes[b.class]; !ok {
				t.Errorf("%s: the class %s of %s has no style", p.title, b.class, b.label)
			}
		}
	}
}

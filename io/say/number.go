package say

import (
	"fmt"
	"math"
	"strings"

	"drumwright/io/record"
)

// thin is the narrow space that does not break, between number and unit.
const thin = "\u202f"

// unknown stands for a number that is not known, never 0.
const unknown = "–"

// number writes v with so many decimals, a real minus sign, and no "-0".
func number(v float64, decimals int) string {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return unknown
	}
	s := fmt.Sprintf("%.*f", decimals, math.Abs(v))
	if v < 0 && strings.Trim(s, "0.") != "" {
		return "−" + s
	}
	return s
}

func withUnit(v record.Number, decimals int, unit string) string {
	s := number(float64(v), decimals)
	if s == unknown {
		return s
	}
	return s + thin + unit
}

func celsius(v record.Number) string { return withUnit(v, 0, "°C") }

// read is a temperature that a probe is to tell: what is missing is a word.
func read(v record.Number) string {
	if !v.Known() {
		return "no reading"
	}
	return celsius(v)
}

// span writes a time span as a sentence has it: 45 s, 1 min 40 s, 2 h 5 min.
func span(s float64) string {
	if math.IsNaN(s) || math.IsInf(s, 0) {
		return unknown
	}
	t := int(math.Round(max(s, 0)))
	switch {
	case t < 60:
		return fmt.Sprintf("%d%ss", t, thin)
	case t < 3600 && t%60 == 0:
		return fmt.Sprintf("%d%smin", t/60, thin)
	case t < 3600:
		return fmt.Sprintf("%d%smin %d%ss", t/60, thin, t%60, thin)
	}
	return fmt.Sprintf("%d%sh %d%smin", t/3600, thin, t%3600/60, thin)
}

// about is a span that is not known to the second: to 5 s below two minutes,
// to 10 s below ten, to the minute above.
func about(s float64) string {
	switch {
	case s < 120:
		s = 5 * math.Round(s/5)
	case s < 600:
		s = 10 * math.Round(s/10)
	default:
		s = 60 * math.Round(s/60)
	}
	return "about " + span(s)
}

package report

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

// tickStep is the smallest step of the series 1, 2, 5 times a power of ten that
// divides [lo, hi] into at most most steps.
func tickStep(lo, hi float64, most int) float64 {
	least := (hi - lo) / float64(most)
	for e := int(math.Floor(math.Log10(least))); ; e++ {
		for _, m := range [...]float64{1, 2, 5} {
			// Dividing for negative powers gives the double nearest to 0.2, as
			// multiplying by 0.1 does not.
			step := m * math.Pow10(e)
			if e < 0 {
				step = m / math.Pow10(-e)
			}
			if step >= least*(1-1e-12) {
				return step
			}
		}
	}
}

// ticks are the multiples of step within [lo, hi].
func ticks(lo, hi, step float64) []float64 {
	var t []float64
	slack := step * 1e-9
	for i := math.Ceil((lo - slack) / step); i*step <= hi+slack; i++ {
		t = append(t, i*step)
	}
	return t
}

// timeStep is the smallest step people count time in that divides [lo, hi], in
// seconds, into at most most steps.
func timeStep(lo, hi float64, most int) float64 {
	for _, s := range [...]float64{1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600, 7200, 14400, 43200} {
		if (hi-lo)/s <= float64(most) {
			return s
		}
	}
	return 86400 * math.Ceil((hi-lo)/86400/float64(most))
}

// clock writes seconds as 1:40 or −0:20; above an hour as 1:02:05.
func clock(s float64) string {
	if !known(s) {
		return "–"
	}
	n := int64(math.Round(math.Abs(s)))
	sign := ""
	if s < 0 && n > 0 {
		sign = "−"
	}
	if n >= 3600 {
		return fmt.Sprintf("%s%d:%02d:%02d", sign, n/3600, n/60%60, n%60)
	}
	return fmt.Sprintf("%s%d:%02d", sign, n/60, n%60)
}

// tickText writes a tick with as many decimals as its step has.
func tickText(v, step float64) string {
	decimals := max(0, int(math.Ceil(-math.Log10(step)-1e-9)))
	return number(v, decimals)
}

// number writes v with a proper minus sign and never as "−0".
func number(v float64, decimals int) string {
	s := strconv.FormatFloat(v, 'f', decimals, 64)
	if !strings.HasPrefix(s, "-") {
		return s
	}
	if strings.Trim(s, "-0.") == "" {
		return s[1:]
	}
	return "−" + s[1:]
}

package report

import (
	"cmp"
	"slices"
)

// spread moves wanted heights apart until neighbours are at least gap apart,
// keeps their order (ties in the order given) and stays within [top, bottom] if
// there is room at all. The nearest such heights are not sought: near is enough.
func spread(want []float64, gap, top, bottom float64) []float64 {
	order := make([]int, len(want))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(want[a], want[b]) })
	y := make([]float64, len(want))
	free := top
	for _, i := range order {
		y[i] = max(want[i], free)
		free = y[i] + gap
	}
	free = bottom
	for _, i := range slices.Backward(order) {
		y[i] = min(y[i], free)
		free = y[i] - gap
	}
	return y
}

// span is a stretch of a row that a label fills.
type span struct{ from, to float64 }

// row gives the label [from, to] the first of n rows in which it touches no
// other, or −1.
func row(rows [][]span, from, to float64) int {
next:
	for r := range rows {
		for _, s := range rows[r] {
			if from < s.to && s.from < to {
				continue next
			}
		}
		rows[r] = append(rows[r], span{from, to})
		return r
	}
	return -1
}

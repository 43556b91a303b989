package report

import "slices"

// fit makes a scale around the known values with a little room on both sides,
// at least least wide. If typical, the outer 3 % of the values at an end are left
// out where they would make the scale longer by more than a quarter: a plunge of
// a few seconds must not flatten the rest of the batch.
func fit(values [][]float64, typical bool, least float64) (lo, hi float64) {
	var all []float64
	for _, vs := range values {
		for _, v := range vs {
			if known(v) {
				all = append(all, v)
			}
		}
	}
	if len(all) == 0 {
		return 0, least
	}
	slices.Sort(all)
	lo, hi = all[0], all[len(all)-1]
	if typical {
		drop := len(all) * 3 / 100
		inLo, inHi := all[drop], all[len(all)-1-drop]
		far := max(inHi-inLo, least) / 4
		if inLo-lo > far {
			lo = inLo
		}
		if hi-inHi > far {
			hi = inHi
		}
	}
	if short := least - (hi - lo); short > 0 {
		below := short / 2
		if lo >= 0 {
			below = min(below, lo) // do not invent values below zero
		}
		lo, hi = lo-below, hi+short-below
	}
	room := 0.04 * (hi - lo)
	if hi += room; lo < 0 || lo > room {
		lo -= room
	}
	return lo, hi
}

package heat

import "math"

// lagShare is the part of the way a first-order lag of tauS goes towards its
// input in one period, exact for a constant input.
func lagShare(periodS, tauS float64) float64 {
	if tauS <= 0 {
		return 1
	}
	return -math.Expm1(-periodS / tauS)
}

// fade makes a take-over bumpless: it starts as the difference between what
// went out last and what the loop would give, and dies away. The loop's own
// learned state stays untouched by it.
type fade struct {
	powerW float64
	seat   bool // the next wish starts from the last output
}

// over gives wishW plus the fading difference.
func (f *fade) over(wishW, lastW, share float64) float64 {
	if f.seat {
		f.powerW, f.seat = lastW-wishW, false
	} else {
		f.powerW -= share * f.powerW
	}
	return wishW + f.powerW
}

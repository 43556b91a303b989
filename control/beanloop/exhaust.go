package beanloop

import "math"

// The exhaust probe lags the gas by half a minute, so its reading is taken with
// a lead before it is held against the limit. Lead, filter and gain were chosen
// on simulated roasts: no literature authority.
const (
	exhaustLeadS   = 20.0
	exhaustFilterS = 5.0
	// exhaustGain is how many kelvins of inlet air each kelvin below the limit
	// allows above the present. A kelvin of inlet air makes about a third of one
	// in the exhaust, so the steady gain around is below one half.
	exhaustGain = 1.0
	// exhaustNearK is where it begins to hold back: further from the limit it
	// allows more and more.
	exhaustNearK = 15.0
)

// exhaustHold gives the highest inlet air at which the exhaust stays below its
// limit. Far below the limit it holds nothing back; at the limit it asks for the
// inlet air that is there, and above for less.
type exhaustHold struct {
	filteredC float64
	started   bool
}

// most is the highest inlet air, °C; +Inf without a limit or a reading.
func (h *exhaustHold) most(limitC, exhaustC, inletC, stepS float64) float64 {
	if !(limitC > 0) || math.IsNaN(exhaustC) || math.IsInf(exhaustC, 0) {
		h.started = false
		return math.Inf(1)
	}
	if !h.started {
		h.filteredC, h.started = exhaustC, true
	}
	h.filteredC += -math.Expm1(-stepS/exhaustFilterS) * (exhaustC - h.filteredC)
	aheadC := h.filteredC + exhaustLeadS/exhaustFilterS*(exhaustC-h.filteredC)
	roomK := limitC - aheadC
	if roomK > 0 {
		roomK *= 1 + roomK*roomK/(exhaustNearK*exhaustNearK)
	}
	return inletC + exhaustGain*roomK
}

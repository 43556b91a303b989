package tune

import "math"

// Ultimate is the point of a process that a relay finds.
type Ultimate struct {
	Gain    float64 // input units per output unit at which a proportional loop would just oscillate, about
	PeriodS float64
}

// Describe gives the ultimate point from an oscillation under a relay of the
// amplitude given, by the describing function. It is an estimate: for a process
// that is mostly one lag the gain comes out 15 to 18 % low, and a hysteresis
// moves the point off the -180 degrees it is meant to lie at.
// Source: Astrom & Hagglund 1984, Automatica 20, 645-651 (first page seen).
func (c Cycle) Describe(amplitude, hysteresis float64) Ultimate {
	return Ultimate{Gain: 4 * amplitude / (math.Pi * math.Sqrt(max(c.AmplitudeK*c.AmplitudeK-hysteresis*hysteresis, 1e-12))), PeriodS: c.PeriodS}
}

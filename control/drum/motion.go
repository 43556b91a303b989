package drum

import "math"

// Motion is the way a bed moves in a turning drum.
type Motion int

// The motions in order of rising Froude number.
const (
	Rolling Motion = iota
	Cascading
	Cataracting
	Centrifuging
)

var motionText = [...]string{
	Rolling:      "rolling",
	Cascading:    "cascading",
	Cataracting:  "cataracting",
	Centrifuging: "centrifuging",
}

func (m Motion) String() string { return motionText[m] }

// MarshalText writes the name of the motion.
func (m Motion) MarshalText() ([]byte, error) { return []byte(m.String()), nil }

// Limits of the motions by Froude number for a smooth wall, after the table of
// Mellmann 2001, Powder Technology 118, 251-270 (original not seen; its numbers
// from memory, the rolling range as quoted in Oba & Otsuki 2024). There the
// ranges of neighbouring motions overlap: rolling 1e-4..1e-2, cascading
// 1e-3..1e-1, cataracting 0.1..1, centrifuging from 1. Where they do, the faster
// motion begins here at the end of the slower one's range.
const (
	froudeCascading    = 0.01
	froudeCataracting  = 0.1
	froudeCentrifuging = 1.0
	// fillCataracting is the least fill for which the table names cataracting.
	fillCataracting = 0.2
)

// MotionAt names the motion on a smooth wall at a Froude number, and its lower
// and upper limit. Paddles throw beans at lower Froude numbers than a smooth
// wall does, and in thin beds the table is at its edge.
func MotionAt(froude float64) (m Motion, lo, hi float64) {
	switch {
	case froude < froudeCascading:
		return Rolling, 0, froudeCascading
	case froude < froudeCataracting:
		return Cascading, froudeCascading, froudeCataracting
	case froude < froudeCentrifuging:
		return Cataracting, froudeCataracting, froudeCentrifuging
	}
	return Centrifuging, froudeCentrifuging, math.Inf(1)
}

// SkinFromFroude is the skin speed, mm/s, that gives a Froude number.
func (d Drive) SkinFromFroude(froude float64) float64 {
	return 1000 * math.Sqrt(max(froude, 0)*GravityMPerS2*d.RadiusMM/1000)
}

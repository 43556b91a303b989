package drum

import "math"

// Sheath is a mineral-insulated probe in tumbling beans.
type Sheath struct {
	DiameterMM    float64
	FilmWPerM2K   float64 // heat exchange of its surface with the bed
	AlongWPerMK   float64 // conductivity along the sheath, its parts together
	HeatMJPerM3K  float64 // heat capacity of its volume
	RootLessBedK  float64 // what the sheath's root is warmer (or colder) than the beans
	ImmersedMM    float64 // length that is always under beans
	RatePerMinK   float64 // rate of rise at which the lag is stated, K/min
	BrakePerMin2K float64 // how fast that rate itself falls, K/min per min
}

// Values for Sheath from memory: steel sheath of 18, filling of 3 and wires of
// 28 W/mK in the shares of a 1.5 mm sheath; 3.6 MJ/m³K; hot air and tumbling
// beans 60 to 150 W/m²K.
const (
	SheathAlongWPerMK  = 10.5
	SheathHeatMJPerM3K = 3.6
	BedFilmWPerM2K     = 100.0
)

// perMM is m = sqrt(4 h/(k d)) of the fin equation, 1/mm.
func (s *Sheath) perMM() float64 {
	return math.Sqrt(4*s.FilmWPerM2K/(s.AlongWPerMK*s.DiameterMM/1000)) / 1000
}

// StemShare is the share of the difference between root and bed that reaches
// the tip: 1/cosh(m L), a fin with an insulated tip (any text on heat transfer).
func (s *Sheath) StemShare() float64 { return 1 / math.Cosh(s.perMM()*s.ImmersedMM) }

// StemErrorK is how much the tip reads too high (or too low) by conduction from
// its root.
func (s *Sheath) StemErrorK() float64 { return s.RootLessBedK * s.StemShare() }

// LengthMM is the immersed length at which the given share of the difference
// reaches the tip.
func (s *Sheath) LengthMM(share float64) float64 { return math.Acosh(1/share) / s.perMM() }

// ResponseS is the first-order time constant, rho c d/(4 h), s. A large sheath
// in a stream is slower still, because the film thickens with its diameter.
func (s *Sheath) ResponseS() float64 {
	return s.HeatMJPerM3K * 1e6 * s.DiameterMM / 1000 / (4 * s.FilmWPerM2K)
}

// BehindK is how far the reading is behind the beans while they rise steadily.
func (s *Sheath) BehindK() float64 { return s.RatePerMinK / 60 * s.ResponseS() }

// RateHighPerMinK is how much too high the rate of rise reads while it falls
// steadily: it is that of one response time ago.
func (s *Sheath) RateHighPerMinK() float64 { return s.BrakePerMin2K / 60 * s.ResponseS() }

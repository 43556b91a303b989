package bean

import "math"

// StefanBoltzmannWPerM2K4 is 2 π⁵ k⁴/(15 h³ c²), W/(m² K⁴). It is exact since
// the 2019 revision of the SI, because k, h and c are.
const StefanBoltzmannWPerM2K4 = 2 * (math.Pi * math.Pi * math.Pi * math.Pi * math.Pi) *
	(boltzmannJPerK * boltzmannJPerK * boltzmannJPerK * boltzmannJPerK) /
	(15 * (planckJS * planckJS * planckJS) * (lightMPerS * lightMPerS))

const (
	boltzmannJPerK = 1.380649e-23
	planckJS       = 6.62607015e-34
	lightMPerS     = 299792458
)

// BlackExchangeWPerM2 returns the net heat a black surface at hotC sends to one
// at coldC that it sees fully, W/m². Multiply by an effective emissivity and
// the area for a real pair of surfaces.
func BlackExchangeWPerM2(hotC, coldC float64) float64 {
	h, c := hotC+KelvinOffset, coldC+KelvinOffset
	return StefanBoltzmannWPerM2K4 * (h*h*h*h - c*c*c*c)
}

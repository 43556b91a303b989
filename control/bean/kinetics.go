package bean

import "math"

// KelvinOffset is 0 degrees Celsius in kelvin (exact, by definition of the
// Celsius scale).
const KelvinOffset = 273.15

// Constants of the three rate laws. The drying and exotherm figures are those
// of Schwartzberg 2002 (chapter in "Engineering and Food for the 21st
// Century"), as quoted in Vosloo 2017 and other public texts; the original was
// not seen, and one public model uses the drying law without the square of the
// moisture. Outside this package they matter only for derivatives.
const (
	// DryingActivationK is the activation temperature of drying, E/R, in K.
	DryingActivationK = 9889.0
	// ExothermActivationK is the activation temperature of the roasting
	// reactions, E/R, in K.
	ExothermActivationK = 5500.0
	// ExothermTotalKJPerKg is the heat the reactions can release in all, kJ
	// per kg dry matter.
	ExothermTotalKJPerKg = 232.0
	// DryLossActivationK is the activation temperature of dry-matter loss, E/R,
	// in K. Tuned, no literature authority.
	DryLossActivationK = 12000.0
	// DryFractionMin is where dry-matter loss saturates: 14 % of the initial
	// dry matter. Tuned, no literature authority.
	DryFractionMin = 0.86
	// VaporisationKJPerKg is the heat taken by one kg of evaporated water:
	// vaporisation, desorption and heating of the vapour. Value from memory.
	VaporisationKJPerKg = 2790.0

	dryingPreExponential   = 4.32e9 // mm²/s
	exothermPreExponential = 116200 // kW/kg dry
	dryLossPreExponential  = 3.3e7  // 1/s, tuned with DryLossActivationK
)

// Kinetics is the part of the rate laws that belongs to one coffee rather than
// to the published equations. Start from DefaultKinetics.
type Kinetics struct {
	// DryingFactor multiplies the published drying rate.
	DryingFactor float64
	// ExothermFactor multiplies the published reaction heat.
	ExothermFactor float64
	// DryLossFactor multiplies the dry-matter loss rate; it is the one to
	// correct from the weight after drop.
	DryLossFactor float64
	// DiameterMM is the effective bean diameter of the drying law, mm.
	DiameterMM float64
}

// DefaultKinetics returns drying × 1.8, exotherm × 0.5, dry loss × 1 and a 6 mm
// bean. The two multipliers were tuned so that a simulated roast looks usual
// (with 1.0 and 1.0 the beans keep more water at drop than is common and the
// rate of rise at drop is high); they have no literature authority. Abdul Ghani
// et al. 2019, seen second-hand, found the exotherm to move the final
// temperature by under 5 °C, which also speaks for less than the full figure.
// The diameter is a value from memory.
func DefaultKinetics() Kinetics {
	return Kinetics{DryingFactor: 1.8, ExothermFactor: 0.5, DryLossFactor: 1, DiameterMM: 6}
}

// DryingRatePerS returns dX/dt in 1/s, never positive: the published law
// -(4.32e9 X²/d²) exp(-9889/T) times DryingFactor, d in mm and T in K.
func (k Kinetics) DryingRatePerS(moistureDB, beanC float64) float64 {
	return -k.DryingFactor * dryingPreExponential / (k.DiameterMM * k.DiameterMM) *
		moistureDB * moistureDB * math.Exp(-DryingActivationK/(beanC+KelvinOffset))
}

// ExothermKWPerKg returns the heat released by the roasting reactions, kW per
// kg dry matter (which is also the rate, in kJ/(kg s), at which the released
// heat grows): 116200 exp(-5500/T) (232 - He)/232 times ExothermFactor.
// releasedKJPerKg is the heat released so far, He.
func (k Kinetics) ExothermKWPerKg(releasedKJPerKg, beanC float64) float64 {
	return -k.ExothermSlopePerS(beanC) * (ExothermTotalKJPerKg - releasedKJPerKg)
}

// ExothermSlopePerS returns the derivative of ExothermKWPerKg by the heat
// already released, 1/s, never positive.
func (k Kinetics) ExothermSlopePerS(beanC float64) float64 {
	return -k.ExothermFactor * exothermPreExponential *
		math.Exp(-ExothermActivationK/(beanC+KelvinOffset)) / ExothermTotalKJPerKg
}

// DryLossRatePerS returns dS/dt in 1/s, never positive, where S is dry mass
// over initial dry mass. The law, -3.3e7 exp(-12000/T) (S - 0.86)/0.14, was
// tuned so that total loss comes out as is usual; no literature authority.
func (k Kinetics) DryLossRatePerS(dryFraction, beanC float64) float64 {
	if dryFraction <= DryFractionMin {
		return 0
	}
	return k.DryLossSlopePerS(beanC) * (dryFraction - DryFractionMin)
}

// DryLossSlopePerS returns the derivative of DryLossRatePerS by the dry
// fraction above DryFractionMin, 1/s, never positive.
func (k Kinetics) DryLossSlopePerS(beanC float64) float64 {
	return -k.DryLossFactor * dryLossPreExponential *
		math.Exp(-DryLossActivationK/(beanC+KelvinOffset)) / (1 - DryFractionMin)
}

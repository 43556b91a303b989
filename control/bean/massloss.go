package bean

// MoistureDryBasis converts moisture from wet basis (kg water per kg moist
// beans, 0 to below 1) to dry basis (kg water per kg dry matter).
func MoistureDryBasis(wetBasis float64) float64 { return wetBasis / (1 - wetBasis) }

// DryMassKg returns the dry matter in a green batch of the given weight and
// moisture (dry basis), kg.
func DryMassKg(greenKg, moistureDB float64) float64 { return greenKg / (1 + moistureDB) }

// LossFraction returns the weight lost so far over the green weight (0.15 is
// 15 %), from the dry fraction S, the moisture X and the moisture at charge X0:
// 1 - S (1 + X)/(1 + X0). It is exact bookkeeping, not a model.
func LossFraction(dryFraction, moistureDB, startMoistureDB float64) float64 {
	return 1 - dryFraction*(1+moistureDB)/(1+startMoistureDB)
}

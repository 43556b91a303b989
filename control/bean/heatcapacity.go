package bean

// DryHeatCapacityJPerKgK returns the heat capacity of beans and their water per
// kg of dry matter, J/(kg K): 1099 + 7.0 T + 5000 X (Schwartzberg 2002, as
// quoted in Vosloo 2017; the original was not seen). Use it with the dry mass
// of the batch.
func DryHeatCapacityJPerKgK(beanC, moistureDB float64) float64 {
	return 1099 + 7*beanC + 5000*moistureDB
}

// HeatCapacityJPerKgK returns the same per kg of moist beans, J/(kg K).
func HeatCapacityJPerKgK(beanC, moistureDB float64) float64 {
	return DryHeatCapacityJPerKgK(beanC, moistureDB) / (1 + moistureDB)
}

package bean

import "math"

// AirCpJPerKgK returns the specific heat of dry air at constant pressure,
// J/(kg K): 1030.5 - 0.19975 T + 3.9734e-4 T², T in K. The fit is quoted with
// Poling, Prausnitz & O'Connell 2001 as its source for 200 to 400 K; above that
// it is extrapolation, within 0.3 % of the usual engineering table up to 300 °C.
func AirCpJPerKgK(airC float64) float64 {
	t := airC + KelvinOffset
	return 1030.5 - 0.19975*t + 3.9734e-4*t*t
}

// Effectiveness returns 1 - exp(-hA/C): the share of the largest possible
// exchange between a gas stream and a surface or bed of uniform temperature
// (textbook one-stream heat exchanger). hA is the conductance and C the heat
// capacity flow of the gas, mass flow × cp, both W/K; C must be positive.
func Effectiveness(hAWPerK, gasWPerK float64) float64 {
	return -math.Expm1(-hAWPerK / gasWPerK)
}

package calibrate

import "math"

// RatedW is a heater's power at its nominal voltage, from a current and a voltage
// measured at once, for a resistance that does not depend on its warmth.
func RatedW(amps, ampsU, volts, voltsU, nominalV float64) (w, u float64) {
	w = amps / volts * nominalV * nominalV
	return w, w * math.Hypot(ampsU/amps, voltsU/volts)
}

// MeteredW is a heater's power at its nominal voltage from the energy that a meter
// counted over a time, at the given voltage.
func MeteredW(wattHours, wattHoursU, seconds, secondsU, volts, voltsU, nominalV float64) (w, u float64) {
	v := nominalV / volts
	w = 3600 * wattHours / seconds * v * v
	return w, w * math.Sqrt(square(wattHoursU/wattHours)+square(secondsU/seconds)+square(2*voltsU/volts))
}

// BalanceW is a heater's power from what it gives to the air, in steady state: mass
// flow, heat capacity and rise of temperature of the air, at a duty, a share that
// reaches the air (arrives), and the given voltage.
func BalanceW(kgPerS, kgPerSU, cpJPerKgK, riseK, riseKU, duty, arrives, arrivesU, volts, voltsU, nominalV float64) (w, u float64) {
	v := nominalV / volts
	w = kgPerS * cpJPerKgK * riseK / (duty * arrives) * v * v
	return w, w * math.Sqrt(square(kgPerSU/kgPerS)+square(riseKU/riseK)+square(arrivesU/arrives)+square(2*voltsU/volts))
}

func square(x float64) float64 { return x * x }

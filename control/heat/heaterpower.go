package heat

// mainsFactor is the power of a resistive heater relative to nominal mains. A
// ratio outside 0.5..1.5 is taken as not measured.
func mainsFactor(ratio float64) float64 {
	if !(ratio >= 0.5 && ratio <= 1.5) {
		return 1
	}
	return ratio * ratio
}

// cutDuty is how far below the loop's duty the applied one must be to count as
// cut by others and not as the rounding of a driver.
const cutDuty = 0.02

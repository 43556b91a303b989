package bean

// swellingDryFractionMin is the lowest dry fraction the swelling line was drawn
// for; below it the volume is held.
const swellingDryFractionMin = 0.90

// VolumeRatio returns bulk volume over green bulk volume: 1 + 8 (1 - S) down to
// S = 0.90, held below. Tuned so that 5 % dry loss gives 40 % more volume
// (trade pages say 30 to 50 %); meant for how full the drum is, nothing finer.
func VolumeRatio(dryFraction float64) float64 {
	return 1 + 8*(1-max(dryFraction, swellingDryFractionMin))
}

// BulkVolumeL returns the bulk volume of the batch in litres.
func BulkVolumeL(greenKg, greenGPerL, dryFraction float64) float64 {
	return 1000 * greenKg / greenGPerL * VolumeRatio(dryFraction)
}

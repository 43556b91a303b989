package pid

// RateLimit moves from previous towards wanted by at most maxChange, which is
// rate times scan period and not negative.
func RateLimit(previous, wanted, maxChange float64) float64 {
	return max(previous-maxChange, min(previous+maxChange, wanted))
}

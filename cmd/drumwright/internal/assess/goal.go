package assess

// Goals of the assessment, °C, of the cells that are within reach.
const (
	nominalRmsC   = 0.2
	nominalMaxC   = 0.6
	nominalRough  = 0.4 // K/min
	singleRmsC    = 0.5
	cornerRmsC    = 1.0 // in at least manyShare of the corners
	cornerWorstC  = 1.8
	structureRmsC = 1.0
	randomRmsC    = 1.0 // in at least manyShare of the drawn cases
	randomMidC    = 0.3 // median
	manyShare     = 0.95

	// reachRmsC is what the run with perfect knowledge must keep for a cell to
	// be called feasible.
	reachRmsC = 1.0
)

// goalRmsC is the rms to keep in a group.
func (g Group) goalRmsC() float64 {
	switch g {
	case Nominal:
		return nominalRmsC
	case Single:
		return singleRmsC
	}
	return cornerRmsC
}

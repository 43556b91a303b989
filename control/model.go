package control

import (
	"math"

	"drumwright/control/heat"
	"drumwright/control/learn"
	"drumwright/control/observe"
	"drumwright/profiles"
)

// Model is what the controller takes machine and batch for: the very figures
// that its estimator and its loops work with.
type Model struct {
	Bed  observe.Params
	Air  heat.AirLoopParams
	Base heat.BaseLoopParams
}

// ModelOf gives the controller's model of a machine charged for a recipe, as far
// as earlier batches have corrected it (nil = none have).
func ModelOf(m *profiles.Machine, r *profiles.Recipe, l *learn.Lessons) Model {
	bed := learned(bedParams(m, r), m, r, l)
	bed.ProbeTauS *= math.Exp(bed.LnTau)
	bed.HAGbWPerK *= math.Exp(bed.LnHeat)
	bed.HADbWPerK *= math.Exp(bed.LnHeat)
	bed.LnTau, bed.LnHeat = 0, 0
	return Model{Bed: bed, Air: airParams(m), Base: baseParams(m)}
}

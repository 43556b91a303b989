package control

import (
	"drumwright/control/heat"
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

// ModelOf gives the controller's model of a machine charged for a recipe.
func ModelOf(m *profiles.Machine, r *profiles.Recipe) Model {
	return Model{Bed: bedParams(m, r), Air: airParams(m), Base: baseParams(m)}
}

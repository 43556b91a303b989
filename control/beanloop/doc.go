// Package beanloop turns a target curve of the bean probe into an inlet air set
// point. It inverts the heat balance of package bean at the state given by
// package observe, so it has no integrator of its own: what the model does not
// know is learned by the estimator from the inlet air actually measured, which
// is why saturation and manual periods leave nothing wound up.
//
// It does not control the air heater (that is the air loop's work), does not
// decide when to close the loop, and does not trip anything.
//
// Invariant: the set point stays inside the inlet limits, moves no faster than
// the slew limit, and is finite whatever the inputs.
//
// Goroutines: a Loop belongs to one goroutine; a Curve is read-only once built
// and may be shared. Step and At allocate nothing.
package beanloop

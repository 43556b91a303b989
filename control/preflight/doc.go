// Package preflight roasts a recipe before beans are wasted on it: the very
// controller that serves the machine, in lockstep with the controller's own model
// of that machine. It says whether the curve can be followed, which limit holds
// it back, and what to expect of loss, time, energy and drum speed.
//
// It knows no more than the machine file and what earlier batches have taught, so
// it is as right as they are; it is not the simulated machine, whose physics and
// figures are others.
//
// Invariant: the same machine, recipe and lessons give the same result to the bit. Run
// reads no clock and may be called from any goroutine; it never touches a machine.
package preflight

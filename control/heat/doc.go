// Package heat holds the two temperature loops of the machine: the inlet air
// by its heater and the drum skin by the radiant panel below it.
//
// Both follow a model instead of chasing a set point: a reference is laid out
// that the hardware can run, the power for it is computed ahead, and feedback
// acts only on the difference between the reading and what the model says the
// probe should read. A jump of the set point is therefore no error to
// integrate, and does not overshoot.
//
// The package does not protect anything: its low-flow cut and its power limit
// keep control sensible, the interlocks live elsewhere. What they do to the
// output must come back through Track.
//
// Invariant: a duty is finite and within 0..1, and every change of mode starts
// from what last went out.
//
// Nothing here locks, allocates in a scan or reads a clock. A loop belongs to
// one goroutine, the scan.
package heat

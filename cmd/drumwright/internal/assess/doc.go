// Package assess roasts a grid of batches in which machine and coffee differ
// from what the controller was told, and measures how well the probe keeps to
// the curve. The very controller and gate that serve a real machine run in
// lockstep with the simulated machine; only the wire is left out: values pass
// through the registers' number formats in memory.
//
// It judges the bean loop, not faults, interlocks or the fieldbus; package
// rehearsal does that. The same grid gives the same figures to the bit, on any
// number of cores: every batch belongs to one goroutine.
package assess

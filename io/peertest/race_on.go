//go:build race

package peertest

// Race reports whether the race detector looks on. A played day is one sequence
// of goroutines over and over: the detector learns nothing from a second, and
// takes several times as long over it. Tests that play many play fewer then; the
// run without the detector plays all.
const Race = true

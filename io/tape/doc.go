// Package tape keeps what went into each scan of a batch and what was decided, to
// the bit, so that the batch can be replayed. A tape is one or more segments: what
// the controller remembered at one moment, then scan after scan from there on. It
// begins a minute or two before the charge and ends with the batch.
//
// It does not know what the controller's memory and commands look like, only their
// bytes. It is no trend store and no report: the journal's samples are.
//
// Invariant: Put never waits and touches no disk; what it could not keep makes a
// new segment, never a wrong one. Memory is bounded. Of a process that is killed
// all but what the writer has not yet handed over (half a second) and what the
// journal has not yet written (up to a second and a half more) can be read.
//
// Goroutines: Put and Close belong to the scan's goroutine; one goroutine of the
// Writer's own encodes, and calls Keep. A Reader belongs to one goroutine.
package tape

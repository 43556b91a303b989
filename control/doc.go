// Package control decides what a roaster does in each scan.
//
// Controller.Step is the whole decision as one deterministic function of its
// state, the image of the inputs, the commands of the operator and the scan
// time: no I/O, no wall clock, no goroutine, no randomness. So a roast can be
// simulated far faster than life and a recorded one replayed to the bit. Step
// wishes; the gate of package safety, which it calls last, permits.
//
// Runner is the other half: it keeps the rhythm, reads the field, calls Step,
// writes the permit and hands the record on. Monitor watches it from a goroutine
// of its own and turns heat off when no permit comes for too long. A Controller belongs to one
// goroutine; a Runner's Do may be called from any.
package control

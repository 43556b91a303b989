// Package proof holds the proof tests of the interlocks: what a person does at
// the machine, what must follow, how soon, and how often it is repeated. It
// says what is due and judges what the scans show of a test.
//
// It gives no commands and keeps nothing; a test says nothing about hardware
// that was not part of it. Intervals and limits are estimates (common practice,
// no source) that the risk assessment of a machine replaces.
//
// Invariant: what cannot be tested on a machine says for want of what, and is
// never counted as done. A record of a simulated machine counts for nothing.
//
// No clock, no I/O, no goroutine: time is given. A Meter belongs to one
// goroutine; everything else is pure.
package proof

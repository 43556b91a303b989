// Package safety turns what control wishes into what may be written.
//
// Control only wishes. The Gate executes one table of causes (thresholds,
// delays, arming, latches, safe states) on the inputs of the scan and issues a
// Permit. The fields of a Permit cannot be set outside this package, and the
// fieldbus writes nothing but a Permit: so no output skips the interlocks, and
// the compiler says so.
//
// The package has no clock, no I/O and no goroutine: time is the scan time that
// it is given. It is not a safety device in the sense of any standard; it acts
// before the hard-wired limit, emergency stop and contactor that a machine must
// have anyway.
package safety

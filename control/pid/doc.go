// Package pid holds the feedback algorithm and the small parts it is built
// from: the PID controller in ISA standard form with two degrees of freedom,
// the series form and its conversion, the SIMC gain rules, a filtered slope, a
// rate limit, and two ways of turning a duty into on and off.
//
// It knows nothing of heaters, probes or machines, and it is no protection:
// its limits keep control honest, the interlocks live elsewhere.
//
// Invariant: an output is always finite and inside its limits, and a change of
// mode or of gains never moves it by itself.
//
// Nothing here locks, allocates or reads a clock. A value belongs to one
// goroutine, the scan.
package pid

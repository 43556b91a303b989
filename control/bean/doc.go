// Package bean holds the heating, drying and reaction kinetics of a bed of
// coffee beans, and the air properties the heat balances need, as plain
// equations. It is shared by the estimator, the bean loop and the simulated
// machine, so that all three mean the same thing by moisture, loss and heat.
//
// It is not a simulator and keeps no state: integration belongs to the caller.
//
// Invariant: every function is pure, finite for finite physical arguments, and
// allocates nothing. Units are in the names; temperatures are in degrees
// Celsius and moisture is kg water per kg dry matter unless said otherwise.
//
// Goroutines: everything here may be called from any goroutine.
package bean

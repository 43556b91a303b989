// Package calibrate turns comparisons with a reference into figures with an
// uncertainty: offset and gain of a probe, drum speed per Hz, rated power of a
// heater; and says at what temperature water boils.
//
// It is not for fits to roasts (control/tune, control/probe do such). Every
// uncertainty covers about 95 % and is never smaller than the references allow.
// Pure functions; any goroutine may call them.
package calibrate

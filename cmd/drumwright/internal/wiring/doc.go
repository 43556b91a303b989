// Package wiring walks a machine point by point and says whether each wire and
// register is what the machine file claims: it reads units and inputs, has a
// person move one thing at a time, and drives each output a little, for a
// limited time.
//
// It is for a cold, empty machine whose daemon does not run. It tunes and
// calibrates nothing. Every output goes through a safety.Gate as in the daemon:
// what the gate does not permit is not written, and a trip ends the step. Heat
// is asked for last, at most a tenth of rated power for five seconds or as much
// energy at once, and only while everything is cold.
//
// A Walk belongs to one goroutine; the clock may be simulated.
package wiring

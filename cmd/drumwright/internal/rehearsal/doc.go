// Package rehearsal plays a shop's day on the simulated machine in lockstep:
// the very controller, gate and fieldbus that serve a real machine, over real
// Modbus frames on loopback, with a scripted operator and faults on demand, as
// fast as the computer goes. demo shows it to people; tests judge by it.
//
// One goroutine runs the whole day; the Modbus server answers from its own.
package rehearsal

// Package rehearsal plays a shop's day on the simulated machine in lockstep:
// the very controller, gate and fieldbus that serve a real machine, by real
// Modbus frames, with a scripted operator and faults on demand, as fast as the
// computer goes. demo shows it to people; tests judge by it. Frames pass within
// the program, so that a day depends on its seed only and on no computer's load;
// the same frames through sockets and pseudo-terminals are tried elsewhere.
//
// One goroutine runs the whole day.
package rehearsal

// Package plant is a simulated drum roaster: the heat balances of air heater,
// duct, panels, drum skin, beans and cooling tray, two drives, contacts, probes
// with lag and noise, and faults on demand. It is what the controller is tried
// against before, and more cruelly than, a real machine.
//
// It is not a model for use inside the controller and not a measured machine:
// its conductances are tuned to usual event times, not to any one roaster.
//
// Invariants: the same parameters, seed and calls give the same readings to the
// bit; heat energy is booked so that in, out and stored agree; heaters get power
// only through the contactor. A Machine belongs to one goroutine.
package plant

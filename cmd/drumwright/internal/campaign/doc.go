// Package campaign tries the controller on the simulated machine fault by
// fault, over real Modbus frames, and judges by what the machine truly did: heat
// off in time and for good, contactor open, drum and air as the safe state says,
// nothing hotter than it may be. What the controller says is compared, but never
// believed.
//
// Its rows are data, one or more for each hazard. A hazard that cannot be played
// in lockstep names the test that covers it, or says that nothing does. It is no
// proof of any real machine.
//
// Runs go in parallel, each with a server and a fieldbus of its own; one run
// belongs to one goroutine.
package campaign

// Package learn carries what one batch has shown over to the next: an addition
// to the wanted rate of the bean loop, the probe's lag and the bed's heat
// transfer to begin with, a lead of the drum skin for charge, the coffee's
// kinetics and moisture by its weighed loss, and where it cracks.
//
// It does not store anything and does not control: it makes Lessons of a batch's
// Course, and the controller takes Lessons in as one more input of a scan.
//
// Invariant: every lesson stays inside its bounds whatever the batch was like,
// and a Lessons value is never changed once made.
//
// Goroutines: functions of their arguments; a Watcher, a Guard and a CrackWatch
// belong to one goroutine each. Guard and CrackWatch allocate nothing.
package learn

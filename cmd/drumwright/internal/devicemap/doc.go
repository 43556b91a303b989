// Package devicemap holds what is known of whole devices: where a kind of module
// or drive has its registers, written once and used at any unit id. A map becomes
// lines of a machine file; the machine file stays whole in itself, so that it can
// be read, calibrated and replayed without the map.
//
// Invariant: what a map says of a point is what the machine file then says.
//
// No goroutines, no connection: reading a unit is the caller's.
package devicemap

// Package doctor looks at what a controller stands on: clock, disk, serial
// adapters, and how its daemon has fared. It is for a person who asks; it judges
// nothing about the roast and is no part of the daemon.
//
// Invariant: it changes nothing but a small file of its own, which it removes,
// and it asks no device on a bus.
//
// No goroutines.
package doctor

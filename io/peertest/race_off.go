//go:build !race

package peertest

// Race reports whether the race detector looks on; see the other file.
const Race = false

package peertest

import "testing"

// OnceIsEnough skips a long test under the race detector that would show it
// nothing new: one that runs in a single goroutine, or plays a further day with
// the goroutines of other tests. The run without the detector plays it.
func OnceIsEnough(t testing.TB) {
	t.Helper()
	if Race {
		t.Skip("nothing new for the race detector; the run without it plays this")
	}
}

// Spare reports whether case i of many alike may be left out: under the race
// detector only every n-th is played.
func Spare(i, n int) bool { return Race && i%n != 0 }

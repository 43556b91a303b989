package peertest

import "testing"

// OnceIsEnough skips a test that plays a whole day more under the race detector,
// which has seen one in TestDay and TestMorning of the same programs.
func OnceIsEnough(t testing.TB) {
	t.Helper()
	if Race {
		t.Skip("a further played day: the race detector learns nothing from it; the run without it plays it")
	}
}

// Spare reports whether case i of many alike may be left out: under the race
// detector only every n-th is played.
func Spare(i, n int) bool { return Race && i%n != 0 }

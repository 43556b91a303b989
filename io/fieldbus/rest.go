package fieldbus

import (
	"time"

	"golang.org/x/sys/unix"
)

// wakeUp is about how late a sleep of the kernel ends: its timer slack of 50 µs
// and the way back. Value measured, see BenchmarkRTU.
const wakeUp = 100 * time.Microsecond

// rest waits for the silence between two frames to end. The runtime's timers end
// up to a millisecond late, which is a third of a short transaction on a fast
// line; the kernel's do not, and what little they are late is not slept.
func rest(d time.Duration) {
	end := time.Now().Add(d)
	if d > wakeUp {
		ts := unix.NsecToTimespec((d - wakeUp).Nanoseconds())
		_ = unix.Nanosleep(&ts, nil) // a signal ends it early; the loop waits out the rest
	}
	for time.Now().Before(end) {
	}
}

package doctor

import (
	"time"

	"golang.org/x/sys/unix"
)

// built is a time before which no clock can be right: nobody ran this then.
var built = time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)

// unsynchronised is STA_UNSYNC of adjtimex(2).
const unsynchronised = 0x0040

// Clock looks at the wall clock and at whether the kernel holds it for
// synchronised.
func Clock(now time.Time) Finding {
	var t unix.Timex
	state, err := unix.Adjtimex(&t)
	return judgeClock(now, state, t.Status, time.Duration(t.Maxerror)*time.Microsecond, err)
}

func judgeClock(now time.Time, state int, status int32, worst time.Duration, err error) Finding {
	f := good("clock", "%s, synchronised, wrong by %v at most", now.Format(time.RFC3339), worst.Round(time.Millisecond))
	switch {
	case now.Before(built):
		f.Said = "it shows " + now.Format(time.DateOnly)
		return f.but(Fault, "it has lost its time: connect a network time server, or fit a clock with a battery; batches and proof tests get wrong dates, control does not depend on it")
	case err != nil:
		return unknown("clock", "%s; whether it is synchronised the kernel does not say: %v", now.Format(time.RFC3339), err)
	case state == unix.TIME_ERROR || status&unsynchronised != 0:
		f.Said = now.Format(time.RFC3339) + ", not synchronised"
		return f.but(Warning, "start a time service (timedatectl set-ntp true), or batches and proof tests get wrong dates; control does not depend on it")
	}
	return f
}

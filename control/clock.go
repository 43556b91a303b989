package control

import (
	"context"
	"runtime"
	"time"

	"golang.org/x/sys/unix"
)

// readShare is the part of a period that reading may take; the rest is for
// deciding and writing.
const readShare = 0.6

// WallClock keeps absolute deadlines on a clock that only goes forward: a late scan does
// not move the next one. Whole periods that were missed are counted and left
// out, never caught up in a burst. Next must be called from one goroutine,
// which it ties to its thread: clock_nanosleep on a thread of its own wakes
// nearer to the deadline than Go's timers. Time for which the computer was
// suspended counts: heat that was on before is not to go on as if nothing had been.
type WallClock struct {
	period time.Duration
	next   int64 // ns on CLOCK_BOOTTIME
	locked bool
}

// NewWallClock makes a clock that ticks every period divided by scale.
func NewWallClock(periodS, scale float64) *WallClock {
	return &WallClock{period: time.Duration(periodS / scale * float64(time.Second))}
}

// Next waits for the next deadline.
func (c *WallClock) Next(ctx context.Context) (Slot, error) {
	if err := ctx.Err(); err != nil {
		return Slot{}, err
	}
	if !c.locked {
		runtime.LockOSThread()
		c.locked = true
		c.next = bootNs()
	}
	var missed int
	c.next, missed = deadline(c.next, bootNs(), int64(c.period))
	ts := unix.NsecToTimespec(c.next)
	for unix.ClockNanosleep(unix.CLOCK_BOOTTIME, unix.TIMER_ABSTIME, &ts, nil) == unix.EINTR {
		if err := ctx.Err(); err != nil {
			return Slot{}, err
		}
	}
	if err := ctx.Err(); err != nil {
		return Slot{}, err
	}
	late := time.Duration(bootNs() - c.next)
	start := time.Now().Add(-late)
	return Slot{
		LatenessS: late.Seconds(), Missed: missed,
		ReadBy: start.Add(time.Duration(readShare * float64(c.period))),
		DoneBy: start.Add(c.period),
	}, nil
}

// deadline is the deadline after last, a whole number of periods later, and how
// many periods are left out because they are over already.
func deadline(last, now, period int64) (next int64, missed int) {
	next = last + period
	if late := now - next; late >= period {
		missed = int(late / period)
		next += int64(missed) * period
	}
	return next, missed
}

func bootNs() int64 {
	var ts unix.Timespec
	if err := unix.ClockGettime(unix.CLOCK_BOOTTIME, &ts); err != nil {
		panic(err) // cannot happen: the clock exists on every Linux
	}
	return ts.Nano()
}

// Lockstep drives a simulated machine scan by scan, as fast as it goes. Advance
// moves the machine by one period, and ends the run by an error.
type Lockstep struct {
	Advance func() error
}

// lockstepS is how long one simulated scan may take before its reads are given
// up: long enough for any loaded computer.
const lockstepS = 5 * time.Second

// Next advances the machine by one period.
func (c *Lockstep) Next(ctx context.Context) (Slot, error) {
	if err := ctx.Err(); err != nil {
		return Slot{}, err
	}
	if err := c.Advance(); err != nil {
		return Slot{}, err
	}
	by := time.Now().Add(lockstepS)
	return Slot{ReadBy: by, DoneBy: by}, nil
}

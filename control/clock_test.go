package control

import (
	"context"
	"errors"
	"testing"
	"time"

	"pgregory.net/rapid"
)

func TestDeadline(t *testing.T) {
	for _, c := range []struct{ last, now, next, missed int64 }{
		{0, 30, 100, 0},
		{0, 100, 100, 0},
		{0, 199, 100, 0},    // late by less than a period: at once
		{0, 200, 200, 1},    // one whole period is over
		{0, 250, 200, 1},    // the grid stays
		{0, 1234, 1200, 11}, // a long stop is not caught up
		{500, 400, 600, 0},  // woken early
	} {
		if next, missed := deadline(c.last, c.now, 100); next != c.next || int64(missed) != c.missed {
			t.Errorf("after %d at %d: %d, %d missed, want %d, %d", c.last, c.now, next, missed, c.next, c.missed)
		}
	}
	rapid.Check(t, func(t *rapid.T) {
		period := rapid.Int64Range(1, 1e9).Draw(t, "period")
		last := rapid.Int64Range(0, 1e15).Draw(t, "last")
		now := last + rapid.Int64Range(-1e9, 1e12).Draw(t, "later")
		next, missed := deadline(last, now, period)
		if next != last+int64(1+missed)*period || missed < 0 {
			t.Fatalf("%d is off the grid", next)
		}
		if now-next >= period || missed > 0 && next > now {
			t.Fatalf("deadline %d at %d", next, now)
		}
	})
}

// Deadlines are whole periods apart, whatever the load of the computer does.
func TestWallClock(t *testing.T) {
	c := NewWallClock(0.1, 50) // 2 ms
	if c.period != 2*time.Millisecond {
		t.Fatalf("period %v", c.period)
	}
	ctx, cancel := context.WithCancel(context.Background())
	first, missed := int64(0), 0
	for i := range 10 {
		s, err := c.Next(ctx)
		if err != nil {
			t.Fatal(err)
		}
		if missed += s.Missed; i == 0 {
			first, missed = c.next, 0
		}
		if want := first + int64(i+missed)*int64(c.period); c.next != want {
			t.Fatalf("deadline %d is %d ns off the grid", i, c.next-want)
		}
		if s.LatenessS < 0 {
			t.Errorf("woke %v s before its deadline", -s.LatenessS)
		}
		if d := s.DoneBy.Sub(s.ReadBy); d != c.period-time.Duration(readShare*float64(c.period)) {
			t.Errorf("%v is left after reading", d)
		}
	}
	cancel()
	if _, err := c.Next(ctx); !errors.Is(err, context.Canceled) {
		t.Errorf("ended clock: %v", err)
	}
}

func TestLockstep(t *testing.T) {
	over := errors.New("over")
	n := 0
	c := &Lockstep{Advance: func() error {
		if n++; n == 3 {
			return over
		}
		return nil
	}}
	ctx, cancel := context.WithCancel(context.Background())
	for range 2 {
		if s, err := c.Next(ctx); err != nil || s.Missed != 0 || s.LatenessS != 0 || !s.ReadBy.After(time.Now()) {
			t.Errorf("%+v, %v", s, err)
		}
	}
	if _, err := c.Next(ctx); !errors.Is(err, over) {
		t.Errorf("want the machine's error, got %v", err)
	}
	cancel()
	if _, err := c.Next(ctx); !errors.Is(err, context.Canceled) || n != 3 {
		t.Errorf("ended clock: %v after %d", err, n)
	}
}

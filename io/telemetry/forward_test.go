package telemetry

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumwright/io/record"
)

// shelf is a store whose events become readable late, as on a disk.
type shelf struct {
	all      []record.PlacedEvent
	readable int
	sent     record.Place
	known    bool
	broken   error
}

func (s *shelf) EventsAfter(_ context.Context, after record.Place, limit, back int) (list []record.PlacedEvent, left uint64, err error) {
	if s.broken != nil {
		return nil, 0, s.broken
	}
	for i, e := range s.all[:s.readable] {
		switch {
		case !e.After(after):
		case s.readable-i > back:
			left++
		case len(list) < limit:
			list = append(list, e)
		}
	}
	return list, left, nil
}

func (s *shelf) Sent(context.Context) (record.Place, bool, error) { return s.sent, s.known, s.broken }

func (s *shelf) SaveSent(p record.Place) error {
	if s.broken == nil {
		s.sent, s.known = p, true
	}
	return s.broken
}

func (s *shelf) put(f *forwarder, run, scan uint64, events int) {
	for n := range events {
		e := record.PlacedEvent{Place: record.Place{Run: run, Scan: scan, N: n + 1}}
		s.all = append(s.all, e)
		f.queue.PutEvent(e)
	}
}

// Whatever happens in whatever order, every event is sent, in order, and once;
// after a crash those are sent again that were not saved as sent.
func TestForwarderMissesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &shelf{}
		quiet := slog.New(slog.DiscardHandler)
		capacity := rapid.IntRange(1, 8).Draw(t, "capacity")
		run, scan, due := uint64(1), uint64(0), 0
		f := newForwarder(s, run, capacity, quiet)
		send := func() bool {
			e, ok := f.next()
			if !ok {
				return false
			}
			if due == len(s.all) || e.Place != s.all[due].Place {
				t.Fatalf("%v was sent where %d of %d was due", e.Place, due, len(s.all))
			}
			f.acknowledged(e)
			due++
			return true
		}
		for range rapid.IntRange(1, 80).Draw(t, "steps") {
			switch rapid.IntRange(0, 9).Draw(t, "step") {
			case 0, 1, 2:
				scan++
				s.put(f, run, scan, rapid.IntRange(1, 5).Draw(t, "events"))
			case 3, 4:
				s.readable += rapid.IntRange(0, len(s.all)-s.readable).Draw(t, "readable")
			case 5, 6, 7:
				for range rapid.IntRange(1, 6).Draw(t, "send") {
					send()
				}
			case 8:
				f.save()
			case 9:
				if rapid.Bool().Draw(t, "crash") {
					s.all = s.all[:max(s.readable, due)] // what was sent and not kept is nobody's to miss
					for due > 0 && s.all[due-1].After(s.sent) {
						due--
					}
				} else {
					f.save()
				}
				s.readable = len(s.all)
				run, scan = run+1, 0
				f = newForwarder(s, run, capacity, quiet)
			}
		}
		s.readable = len(s.all)
		for send() {
		}
		if due != len(s.all) || f.dropped() != 0 {
			t.Fatalf("%d of %d events sent, %d counted as dropped", due, len(s.all), f.dropped())
		}
	})
}

// A store that fails holds up nothing that waits in memory, and what is too long
// ago is counted.
func TestForwarderBounds(t *testing.T) {
	s := &shelf{broken: errors.New("disk full")}
	f := newForwarder(s, 1, 4, slog.New(slog.DiscardHandler))
	s.put(f, 1, 1, 6)
	if e, ok := f.next(); ok {
		t.Fatalf("%v before the store had time to recover", e.Place)
	}
	f.vain = f.vain.Add(-storeLag - time.Second)
	for n := 3; n <= 6; n++ {
		e, ok := f.next()
		if !ok || e.N != n {
			t.Fatalf("%v, %v, want the event %d", e.Place, ok, n)
		}
		f.acknowledged(e)
	}
	if f.dropped() == 0 {
		t.Error("the events that are in neither place are not counted")
	}

	s = &shelf{sent: record.Place{Run: 1}, known: true}
	s.put(newForwarder(nil, 1, 1, nil), 1, 1, 1)
	for scan := uint64(2); scan <= mostForwarded+8; scan++ {
		s.put(newForwarder(nil, 1, 1, nil), 1, scan, 1)
	}
	s.readable = len(s.all)
	f = newForwarder(s, 2, 4, slog.New(slog.DiscardHandler))
	if e, ok := f.next(); !ok || e.Scan != 9 || f.dropped() != 8 {
		t.Errorf("%v first, %d dropped, want scan 9 and 8", e.Place, f.dropped())
	}

	// Who never published, or whose journal is another, begins with what comes.
	for _, s := range []*shelf{{}, {sent: record.Place{Run: 7, Scan: 5, N: 1}, known: true}} {
		s.put(newForwarder(nil, 1, 1, nil), 1, 1, 3)
		s.readable = 3
		f = newForwarder(s, 2, 4, slog.New(slog.DiscardHandler))
		if e, ok := f.next(); ok || s.sent != (record.Place{Run: 2}) {
			t.Errorf("%v of a history that nobody asked for; saved %v", e.Place, s.sent)
		}
	}
}

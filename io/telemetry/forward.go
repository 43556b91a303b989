package telemetry

import (
	"context"
	"log/slog"
	"sync/atomic"
	"time"

	"drumwright/io/record"
)

// EventStore keeps events for as long as no broker takes them, and which of them
// one has taken, also over the end of this program. Its events become readable in
// their order, a moment after they were put here.
type EventStore interface {
	// EventsAfter gives the first events after a place, at most limit; of those more
	// than back before the newest only how many they are.
	EventsAfter(ctx context.Context, after record.Place, limit, back int) (list []record.PlacedEvent, left uint64, err error)
	// Sent is the last place that was saved; false = none was.
	Sent(ctx context.Context) (record.Place, bool, error)
	SaveSent(record.Place) error
}

const (
	mostForwarded = 10000                  // events that a broker gets afterwards: weeks of a shop, minutes of sending
	fetched       = record.MaxEvents + 100 // at once
	storeLag      = 10 * time.Second       // that events may take to become readable
	together      = 16                     // events sent between two looks at what else is to be sent
)

// forwarder gives events in their order: those that wait in memory, and before them
// those that did not fit there or were put by an earlier run, from the store.
type forwarder struct {
	store EventStore // nil = what does not fit in memory is lost
	queue *record.Queue[record.PlacedEvent]
	log   *slog.Logger

	sent, saved record.Place // the last that was acknowledged; the last that the store knows of
	stored      []record.PlacedEvent
	live        []record.PlacedEvent // after those in stored, with some of them among it
	behind      bool                 // there may be events before those in live that are neither there nor in stored
	overflowed  bool                 // of this run: those may not be readable yet
	vain        time.Time            // since when what is missing was not there; zero = it was
	full        uint64               // times that the queue was, when last looked
	failing     bool                 // the store

	lost atomic.Uint64
}

// newForwarder begins where the last run ended. Who never published does not begin
// with a history of years.
func newForwarder(store EventStore, run uint64, queueLen int, log *slog.Logger) *forwarder {
	f := &forwarder{store: store, queue: record.NewQueue[record.PlacedEvent](queueLen), log: log, sent: record.Place{Run: run}}
	if store == nil {
		return f
	}
	sent, known, err := store.Sent(context.Background())
	f.tell(err)
	if known && err == nil && run > sent.Run {
		f.sent, f.saved, f.behind = sent, sent, true
	}
	f.save()
	return f
}

// tell logs when the store fails, and when it does so no longer.
func (f *forwarder) tell(err error) {
	if err != nil && !f.failing {
		f.log.Error("mqtt: events cannot be kept for the broker", "err", err)
	}
	f.failing = err != nil
}

// next is the event to send next; false if there is none now.
func (f *forwarder) next() (record.PlacedEvent, bool) {
	for {
		switch {
		case len(f.stored) > 0:
			if e := f.stored[0]; e.After(f.sent) {
				return e, true
			}
			f.stored = f.stored[1:]
		case f.behind:
			if !f.fetch() {
				return record.PlacedEvent{}, false
			}
		case len(f.live) > 0:
			if e := f.live[0]; e.After(f.sent) {
				return e, true
			}
			f.live = f.live[1:]
		default:
			f.live = f.queue.Take(f.live[:0], together)
			// What made room was before what was just taken, or is after it: either way
			// the store has it.
			if _, full := f.queue.Dropped(); full != f.full {
				f.full = full
				if f.store != nil {
					f.behind, f.overflowed = true, true
				}
			}
			if len(f.live) == 0 && !f.behind {
				return record.PlacedEvent{}, false
			}
		}
	}
}

// dropped counts the events that no broker will get.
func (f *forwarder) dropped() uint64 {
	if f.store != nil {
		return f.lost.Load()
	}
	_, full := f.queue.Dropped()
	return full
}

// acknowledged notes that the broker has the event that next gave.
func (f *forwarder) acknowledged(e record.PlacedEvent) { f.sent = e.Place }

// fetch reads on in the store; false if what is missing is not there yet.
func (f *forwarder) fetch() bool {
	list, left, err := f.store.EventsAfter(context.Background(), f.sent, fetched, mostForwarded)
	f.tell(err)
	f.lost.Add(left)
	f.stored = list
	// The store holds events in their order: once it gives one that waits in memory,
	// all before that have been read.
	if n := len(list); n > 0 {
		f.vain = time.Time{}
		if len(f.live) > 0 && !f.live[0].After(list[n-1].Place) {
			f.behind, f.overflowed = false, false
		}
		return true
	}
	if err == nil && !f.overflowed {
		f.behind = false
		return true
	}
	if f.vain.IsZero() {
		f.vain = time.Now()
	}
	if time.Since(f.vain) < storeLag {
		return false
	}
	f.log.Error("mqtt: events that no broker has taken are not in the store either", "after", f.sent.String())
	f.lost.Add(1) // at least
	f.vain, f.behind, f.overflowed = time.Time{}, false, false
	return true
}

// save has the store know how far the broker has come.
func (f *forwarder) save() {
	if f.store == nil || f.sent == f.saved {
		return
	}
	err := f.store.SaveSent(f.sent)
	f.tell(err)
	if err == nil {
		f.saved = f.sent
	}
}

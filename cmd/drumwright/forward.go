package main

import (
	"context"

	"drumwright/io/journal"
	"drumwright/io/record"
)

// forwarded is the journal as the store of events that a broker has not taken yet.
// How far it has come is kept for each broker: another one gets no history.
type forwarded struct {
	*journal.Sink
	latch string
}

func forwardedTo(broker string, keep *journal.Sink) forwarded {
	return forwarded{keep, "mqtt_sent " + broker}
}

func (f forwarded) Sent(ctx context.Context) (record.Place, bool, error) {
	kept, err := f.Latches(ctx)
	if err != nil || kept[f.latch] == "" {
		return record.Place{}, false, err
	}
	p, err := record.ParsePlace(kept[f.latch])
	return p, err == nil, err
}

func (f forwarded) SaveSent(p record.Place) error { return f.SaveLatch(f.latch, p.String()) }

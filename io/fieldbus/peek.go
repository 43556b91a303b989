package fieldbus

import (
	"context"
	"time"

	"drumwright/io/point"
)

// Echo is what came of one question to a unit.
type Echo uint8

// The echoes.
const (
	Unasked  Echo = iota // the line could not be used in time
	Answered             // with what was asked for
	Denied               // with a Modbus exception: somebody is there
	Mute                 // no answer in time, or a gateway that says so
	Garbled              // bytes that make no answer to the question
)

// peekPause is how long a line that must still be silent is left alone.
const peekPause = 5 * time.Millisecond

// Peek reads a stretch of one table of a unit, which the machine file need not
// name. It never writes. Call it from the goroutine of Read and Write, between
// them.
func (f *Fieldbus) Peek(ctx context.Context, index int, address uint8, t point.Table, from uint16, count int, deadline time.Time) ([]uint16, Echo) {
	b := f.buses[index]
	if w := f.workerOf(b); f.closed || w != nil && w.busy || count < 1 || count > limitOf(t) {
		return nil, Unasked
	}
	b.mu.Lock()
	u := b.unit(address, 1)
	b.mu.Unlock()
	for ctx.Err() == nil && b.take(deadline) {
		data, err := b.fetch(u, t, from, uint16(count), deadline)
		var words []uint16
		if err == nil {
			words = unpack(t, data, count)
		}
		b.leave()
		switch {
		case err == nil:
			return words, Answered
		case unsent(err) && time.Until(deadline) > peekPause:
			wait := time.NewTimer(peekPause)
			select {
			case <-ctx.Done():
			case <-wait.C:
			}
			wait.Stop()
			continue
		case unsent(err):
			return nil, Unasked
		case unitSilent(err):
			return nil, Mute
		case reasonOf(err) == Exception:
			return nil, Denied
		}
		return nil, Garbled
	}
	return nil, Unasked
}

// unpack gives one word for each register or bit.
func unpack(t point.Table, data []byte, count int) []uint16 {
	if !t.Bits() {
		return wordsIn(t, data)
	}
	words := make([]uint16, count)
	for i := range words {
		if i/8 < len(data) {
			words[i] = uint16(data[i/8] >> (i % 8) & 1)
		}
	}
	return words
}

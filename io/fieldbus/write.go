package fieldbus

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/goburrow/modbus"

	"drumwright/io/point"
	"drumwright/safety"
)

// WriteError names the outputs that a Write could not bring to their permitted
// value. They are tried again in every scan until the device acknowledges.
type WriteError struct {
	Outputs [point.NumOutputs]error // nil where there is nothing to report
}

func (e *WriteError) Error() string {
	var b strings.Builder
	for o, err := range e.Outputs {
		if err != nil {
			if b.Len() > 0 {
				b.WriteString("; ")
			}
			fmt.Fprintf(&b, "output %s not acknowledged: %v", point.Output(o), err)
		}
	}
	return b.String()
}

// Unacknowledged says which outputs these are.
func (e *WriteError) Unacknowledged() (out [point.NumOutputs]bool) {
	for o, err := range e.Outputs {
		out[o] = err != nil
	}
	return out
}

// orders is a permit unpacked, so that a bus that is late holds its own copy.
type orders struct {
	value    [point.NumOutputs]float64
	covers   [point.NumOutputs]bool
	heatOnly bool
}

func ordersOf(p *safety.Permit) orders {
	o := orders{value: p.Values(), heatOnly: true}
	for role := range o.covers {
		o.covers[role] = p.Covers(point.Output(role))
		if o.covers[role] && !safety.IsHeat(point.Output(role)) {
			o.heatOnly = false
		}
	}
	return o
}

// errOvertaken is why this scan no longer turns heat up.
var errOvertaken = errors.New("heat was turned off apart from the scan meanwhile")

var errSilent = errors.New("unit does not answer, next try later")

// write brings the outputs of the bus to the permit: everything that takes
// heat away first, what heats last.
func (b *bus) write(ctx context.Context, scan uint64, deadline time.Time, p *orders) {
	b.scan = scan
	if b.interfered.Swap(false) {
		b.forget(nil)
	}
	if len(b.groups) == 0 && b.take(deadline) {
		err := b.line.stillOpen()
		b.leave()
		if err != nil {
			b.noteLost(err)
		}
	}
	for i := range b.items {
		it := &b.items[i]
		it.age++
		before := it.bad
		it.prepare(p)
		if it.bad != nil && before == nil {
			b.log.Error("permitted value cannot be sent", "bus", b.name, "unit", it.u.address, "address", it.address, "error", it.bad)
		}
	}
	for s := range numStages {
		for i := range b.items {
			it := &b.items[i]
			if !it.covered || it.stage != s {
				continue
			}
			if it.due() {
				b.report(it, b.put(ctx, it, deadline, p))
			}
		}
	}
	if p.heatOnly {
		b.insist(ctx, deadline, p)
	}
}

// insistEvery is the pause between looks at a line that is being opened.
const insistEvery = 5 * time.Millisecond

// insist repeats the writes of HeatOff that were not acknowledged, for as long
// as there is time: at stop there is no next scan that would.
func (b *bus) insist(ctx context.Context, deadline time.Time, p *orders) {
	for {
		again, wait := false, false
		for i := range b.items {
			it := &b.items[i]
			if !it.covered || it.err == nil || it.err == errQuiet || it.err == errForeign || reasonOf(it.err) == Exception {
				continue
			}
			if ctx.Err() != nil || !time.Now().Before(deadline) {
				return
			}
			again, wait = true, wait || it.err == errNotOpen
			b.report(it, b.put(ctx, it, deadline, p))
		}
		if !again {
			return
		}
		if wait {
			time.Sleep(insistEvery)
		}
	}
}

// put writes one item.
func (b *bus) put(ctx context.Context, it *item, deadline time.Time, p *orders) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	if !p.heatOnly && !it.u.mayAsk(b.scan) {
		return errSilent // HeatOff itself is sent even to a unit that seems dead
	}
	if !b.take(deadline) {
		return errNoTime
	}
	defer b.leave()
	if err := b.identified(it.u, p.heatOnly || it.onlyOff(), deadline); err != nil {
		return err
	}
	if it.stage == heatUp && b.interfered.Load() {
		return errOvertaken
	}
	if !it.known && it.partial(p) {
		b.readBack(it, deadline, p)
	}
	err := b.send(it, deadline)
	if err != nil && !unsent(err) && reasonOf(err) == Closed {
		// Found closed on sending; opened anew, it is worth a second try.
		err = b.send(it, deadline)
	}
	if err != nil {
		return err
	}
	it.acknowledged(p)
	return nil
}

// readBack learns what stands in the registers of an item that a permit covers
// in part, before the rest has ever been written: at start the drum may be
// turning. If the device cannot say, the rest is written as 0, because turning
// the heat off comes first.
func (b *bus) readBack(it *item, deadline time.Time, p *orders) {
	data, err := b.fetch(it.u, it.table, it.address, uint16(len(it.want)), deadline)
	if err != nil {
		return
	}
	for i := range it.have {
		it.have[i] = binary.BigEndian.Uint16(data[2*i:])
	}
	it.known = true
	it.prepare(p)
}

func (b *bus) send(it *item, deadline time.Time) error {
	start, err := b.begin(deadline, it.requestBytes(), writeReplyBytes)
	if err != nil {
		return err
	}
	err = writeWords(it.u.client, it, it.want, it.payload)
	b.note(it.u, time.Since(start), err)
	return err
}

// writeWords writes words into the registers of an item. The payload is room
// for two bytes a word.
func writeWords(c modbus.Client, it *item, words []uint16, payload []byte) (err error) {
	n := len(words)
	switch {
	case it.table == point.Coil && it.multiple:
		payload[0] = byte(words[0])
		_, err = c.WriteMultipleCoils(it.address, 1, payload[:1])
	case it.table == point.Coil:
		_, err = c.WriteSingleCoil(it.address, words[0]*0xFF00)
	case n == 1 && !it.multiple:
		_, err = c.WriteSingleRegister(it.address, words[0])
	default:
		for i, w := range words {
			binary.BigEndian.PutUint16(payload[2*i:], w)
		}
		_, err = c.WriteMultipleRegisters(it.address, uint16(n), payload)
	}
	return err
}

// report notes the outcome and logs when it changes.
func (b *bus) report(it *item, err error) {
	if err != nil {
		// What the device has taken of it is not known.
		it.written = false
		if it.err == nil {
			b.log.Warn("output not acknowledged, trying again every scan",
				"bus", b.name, "unit", it.u.address, "address", it.address, "output", it.outs[0].role.String(), "error", err)
		}
	} else if it.err != nil {
		b.log.Info("output acknowledged again", "bus", b.name, "unit", it.u.address, "address", it.address, "output", it.outs[0].role.String())
	}
	it.err = err
}

// forget makes the outputs of a unit, or of all units, be written again.
func (b *bus) forget(u *unit) {
	for i := range b.items {
		if u == nil || b.items[i].u == u {
			b.items[i].written = false
		}
	}
}

// unacknowledged adds the outputs of the bus that do not stand where the last
// permit wants them.
func (b *bus) unacknowledged(e *WriteError) *WriteError {
	for i := range b.items {
		it := &b.items[i]
		err := it.err
		if err == nil {
			err = it.bad
		}
		if !it.covered || err == nil {
			continue
		}
		if e == nil {
			e = &WriteError{}
		}
		for _, d := range it.outs {
			e.Outputs[d.role] = err
		}
	}
	return e
}

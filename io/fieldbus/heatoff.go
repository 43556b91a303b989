package fieldbus

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"github.com/goburrow/modbus"

	"drumwright/io/point"
	"drumwright/safety"
)

// turnPatience is how long HeatOff waits for its turn on a line before it opens
// a connection of its own, where it can: longer than any transaction that is
// not stuck takes. Estimate; common practice, no source.
const turnPatience = 200 * time.Millisecond

// offOrder writes heat off into the registers of one item, without looking at
// what the scan believes of them. It is never changed once made.
type offOrder struct {
	it      *item // of this only what is fixed when it is made: place, unit, outputs
	stage   stage
	words   []uint16 // the heat outputs' own bits
	mask    []uint16 // which bits those are
	partial bool     // there are bits of other outputs, to be left as they are
}

func offOrdersOf(items []item) ([]offOrder, error) {
	var all []offOrder
	for i := range items {
		it := &items[i]
		o := offOrder{it: it, stage: numStages, words: make([]uint16, len(it.want)), mask: make([]uint16, len(it.want))}
		for j := range it.outs {
			d := &it.outs[j]
			if !safety.IsHeat(d.role) {
				o.partial = true
				continue
			}
			var words [2]uint16
			if _, err := d.access.Encode(0, &words); err != nil {
				return nil, fmt.Errorf("output %s: its off cannot be sent: %w", d.role, err)
			}
			for k := range d.n {
				o.words[d.word+k] |= words[k] & d.mask[k]
				o.mask[d.word+k] |= d.mask[k]
			}
			o.stage = min(o.stage, d.stage(0))
		}
		if o.stage < numStages {
			all = append(all, o)
		}
	}
	return all, nil
}

// HeatOff turns all heat off, heaters first and then the contactor, and reads
// back where the device allows it. It may be called from any goroutine, also
// while Read or Write is stuck: it takes its turn between two transactions, and
// where that does not come in 200 ms opens a TCP connection of its own. On a
// serial line it waits for the end of the transaction. The next Write brings all
// outputs of the buses to its permit again. The error names what is not known to
// be off when ctx ends.
func (f *Fieldbus) HeatOff(ctx context.Context) error {
	errs := make([]error, len(f.buses))
	var wg sync.WaitGroup
	for i, b := range f.buses {
		if len(b.emergency) == 0 {
			continue
		}
		wg.Go(func() {
			if err := b.heatOff(ctx); err != nil {
				errs[i] = fmt.Errorf("bus %s: %w", b.name, err)
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

// errTurn is why a line could not be used.
var errTurn = errors.New("the line is in use and its transaction does not end")

// endOf is when ctx ends; without a limit of its own HeatOff takes a second.
func endOf(ctx context.Context) time.Time {
	if end, ok := ctx.Deadline(); ok {
		return end
	}
	return time.Now().Add(time.Second)
}

func (b *bus) heatOff(ctx context.Context) error {
	end := endOf(ctx)
	first := end
	if b.aside != nil {
		first = earlier(end, time.Now().Add(turnPatience))
	}
	// Before as well as after: a write of the scan between the two is undone.
	b.interfered.Store(true)
	defer b.interfered.Store(true)
	if b.take(first) {
		defer b.leave()
		return b.sendOff(ctx, b.line, end)
	}
	if b.aside == nil {
		return errTurn
	}
	own := b.aside()
	defer own.close()
	return b.sendOff(ctx, own, end)
}

// sendOff writes every order and reads it back. What is not acknowledged is tried
// again, after the others, until the time is over: a device that is dead must
// not keep the contactor of another closed.
func (b *bus) sendOff(ctx context.Context, l line, end time.Time) error {
	var calls []*offCall
	for s := range numStages {
		for i := range b.emergency {
			if o := &b.emergency[i]; o.stage == s {
				calls = append(calls, &offCall{b: b, o: o, line: l, client: clientFor(b.tcp, o.it.u.address, l)})
			}
		}
	}
	for first := true; ; first = false {
		again := false
		for _, c := range calls {
			if !first && !c.unsure {
				continue
			}
			c.err = c.write(end)
			c.unsure = c.err != nil && c.err != errForeign && !errors.As(c.err, new(*modbus.ModbusError))
			if c.err == nil {
				c.err = c.confirm(end)
			}
			again = again || c.unsure
		}
		if !again || ctx.Err() != nil || !time.Now().Before(end) {
			break
		}
		time.Sleep(insistEvery)
	}
	var errs []error
	for _, c := range calls {
		if c.err != nil {
			errs = append(errs, fmt.Errorf("%s not known to be off: %w", c.o.name(), c.err))
		}
	}
	return errors.Join(errs...)
}

func clientFor(tcp bool, address uint8, l line) modbus.Client {
	if tcp {
		h := modbus.NewTCPClientHandler("")
		h.SlaveId = address
		return modbus.NewClient2(h, l)
	}
	h := modbus.NewRTUClientHandler("")
	h.SlaveId = address
	return modbus.NewClient2(h, l)
}

// name is the first heat output of the order.
func (o *offOrder) name() string {
	for i := range o.it.outs {
		if role := o.it.outs[i].role; safety.IsHeat(role) {
			return role.String()
		}
	}
	return ""
}

// offCall is one order on one line.
type offCall struct {
	b      *bus
	o      *offOrder
	line   line
	client modbus.Client
	err    error
	unsure bool // the write was not answered
}

func (x *offCall) begin(end time.Time, out, back int) error {
	now := time.Now()
	limit := max(x.b.timeout, minOffTime)
	if err := x.line.ready(earlier(now.Add(limit), end), end); err != nil {
		return err
	}
	if now = time.Now(); !now.Before(end) {
		return errNoTime
	}
	x.line.arm(earlier(now.Add(limit+x.line.wire(out, back)), end))
	return nil
}

// minOffTime is the least time a device gets for one answer here, where there is
// no scan to keep.
const minOffTime = 100 * time.Millisecond

func (x *offCall) write(end time.Time) error {
	it, words := x.o.it, x.o.words
	if err := it.u.mayWrite(true, func(a *point.Access) ([]byte, error) {
		n := a.Type.Words()
		if err := x.begin(end, readRequestBytes, replyBytes(a.Table, n)); err != nil {
			return nil, err
		}
		return readTable(x.client, a.Table, a.Address, uint16(n))
	}); err != nil {
		return err
	}
	if x.o.partial {
		words = append([]uint16(nil), words...)
		// If the device cannot say what stands in the rest, that is written as 0:
		// turning the heat off comes first.
		now, err := x.read(end)
		if err != nil && !errors.As(err, new(*modbus.ModbusError)) {
			if now, err = x.read(end); err != nil && unsent(err) {
				return err
			}
		}
		for i := range now {
			words[i] |= now[i] &^ x.o.mask[i]
		}
	}
	if err := x.begin(end, it.requestBytes(), writeReplyBytes); err != nil {
		return err
	}
	return writeWords(x.client, it, words, make([]byte, 2*len(words)))
}

// confirm reads the order back. A device that does not let its outputs be read
// has acknowledged them, and that must do.
func (x *offCall) confirm(end time.Time) error {
	now, err := x.read(end)
	if errors.As(err, new(*modbus.ModbusError)) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("reading back: %w", err)
	}
	for i, w := range now {
		if m := x.o.mask[i]; w&m != x.o.words[i]&m {
			return fmt.Errorf("register %d reads back as %#x, want %#x", int(x.o.it.address)+i, w&m, x.o.words[i]&m)
		}
	}
	return nil
}

func (x *offCall) read(end time.Time) ([]uint16, error) {
	it := x.o.it
	n := len(x.o.words)
	if err := x.begin(end, readRequestBytes, replyBytes(it.table, n)); err != nil {
		return nil, err
	}
	data, err := readTable(x.client, it.table, it.address, uint16(n))
	if err != nil {
		return nil, err
	}
	return wordsIn(it.table, data), nil
}

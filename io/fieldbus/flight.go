package fieldbus

import (
	"context"
	"encoding/binary"
	"fmt"
	"time"

	"github.com/goburrow/modbus"

	"drumwright/io/point"
)

// functionOf is the function that reads a table (Modbus application protocol
// V1.1b3, sections 6.1 to 6.4).
func functionOf(t point.Table) byte {
	switch t {
	case point.Coil:
		return modbus.FuncCodeReadCoils
	case point.DiscreteInput:
		return modbus.FuncCodeReadDiscreteInputs
	case point.Holding:
		return modbus.FuncCodeReadHoldingRegisters
	}
	return modbus.FuncCodeReadInputRegisters
}

// readFrameBytes is the length of a TCP request to read.
const readFrameBytes = mbapBytes + 5

// flight is requests to read that are under way on one connection at once. A
// reply is told by its transaction id, so they may come in any order.
type flight struct {
	groups []int // of the bus, in the order of the requests
	out    []byte
	done   []bool
}

func (f *flight) add(i int, g *group) {
	f.groups, f.done = append(f.groups, i), append(f.done, false)
	count := g.end - g.start
	f.out = append(f.out, 0, 0, 0, 0, 0, 6, g.u.address, functionOf(g.table),
		byte(g.start>>8), byte(g.start), byte(count>>8), byte(count))
}

func (f *flight) clear() { f.groups, f.done, f.out = f.groups[:0], f.done[:0], f.out[:0] }

func (f *flight) request(k int) []byte { return f.out[k*readFrameBytes : (k+1)*readFrameBytes] }

// fly sends all requests at once and hands over what comes of each, exactly once.
func (t *tcpLine) fly(f *flight, each func(k int, data []byte, err error)) {
	open := len(f.groups)
	rest := func(err error) {
		for k := range f.groups {
			if !f.done[k] {
				each(k, nil, err)
			}
		}
	}
	if err := t.conn.SetDeadline(t.deadline); err != nil {
		rest(t.fail(Closed, "connection", err))
		return
	}
	if err := t.unasked(); err != nil {
		rest(t.fail(Closed, "connection lost", err))
		return
	}
	for k := range f.groups {
		t.id++
		binary.BigEndian.PutUint16(f.request(k), t.id)
	}
	if _, err := t.conn.Write(f.out); err != nil {
		rest(t.fail(transportReason(err), "sending", err))
		return
	}
	t.have = 0
	for open > 0 {
		frame, err := t.frame()
		if err != nil {
			rest(err)
			return
		}
		if frame == nil {
			n, err := t.conn.Read(t.buf[t.have:])
			t.have += n
			if err != nil && n == 0 {
				rest(t.broken(err))
				return
			}
			continue
		}
		k, err := t.answers(f, frame)
		if err != nil {
			rest(err)
			return
		}
		if k >= 0 {
			f.done[k], open = true, open-1
			t.replied = time.Now()
			if pdu := frame[mbapBytes:]; pdu[0]&0x80 != 0 {
				each(k, nil, &modbus.ModbusError{FunctionCode: pdu[0], ExceptionCode: pdu[1]})
			} else {
				each(k, pdu[2:], nil)
			}
		}
		t.have = copy(t.buf[:], t.buf[len(frame):t.have])
	}
}

// answers finds the request that a frame answers, -1 for one that is answered or
// given up already. Anything else means that the two sides are not in step.
func (t *tcpLine) answers(f *flight, frame []byte) (int, error) {
	id := binary.BigEndian.Uint16(frame)
	age := int(t.id - id)
	k := len(f.groups) - 1 - age
	switch {
	case k < 0 && age < 1<<15 || k >= 0 && f.done[k]:
		return -1, nil
	case k < 0:
		return 0, t.fail(Reply, fmt.Sprintf("transactions up to %d answered as %d", t.id, id), nil)
	}
	request := f.request(k)
	if frame[6] != request[6] {
		return 0, t.fail(Reply, fmt.Sprintf("unit %d answered as %d", request[6], frame[6]), nil)
	}
	if err := checkReply(request[mbapBytes:], frame[mbapBytes:]); err != nil {
		return 0, t.fail(Reply, "reply", err)
	}
	t.silences = 0
	t.opener.worked()
	return k, nil
}

// ahead reads what is due with as many requests in flight as the bus allows, be
// it one: no request is made anew here. What came of a group stands in it; the
// scan does the rest, and what is to be tried again, one by one.
func (b *bus) ahead(ctx context.Context, nowS float64, deadline time.Time) {
	for k := 0; k < len(b.groups) && ctx.Err() == nil; {
		b.flight.clear()
		for ; k < len(b.groups) && len(b.flight.groups) < b.inFlight; k++ {
			i := (b.cursor + k) % len(b.groups)
			if g := &b.groups[i]; g.due(b.scan) && g.u.mayAsk(b.scan) && b.fits(g, deadline) {
				b.flight.add(i, g)
			}
		}
		if len(b.flight.groups) == 0 || !b.launch(nowS, deadline) {
			return
		}
	}
}

// launch reports whether the line is good for more.
func (b *bus) launch(nowS float64, deadline time.Time) bool {
	if !b.take(deadline) {
		return false
	}
	defer b.leave()
	start, err := b.begin(deadline, readFrameBytes, 0)
	if err != nil {
		return false
	}
	sound := true
	b.line.(*tcpLine).fly(&b.flight, func(k int, data []byte, err error) {
		g := &b.groups[b.flight.groups[k]]
		b.note(g.u, time.Since(start), err)
		if g.answered, g.failed = err == nil, err; err == nil {
			b.decode(g, data, nowS)
		} else if reasonOf(err) != Exception {
			sound = false
		}
	})
	return sound
}

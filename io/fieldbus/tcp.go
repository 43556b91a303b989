package fieldbus

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"time"
)

// Modbus messaging on TCP/IP implementation guide V1.0b, section 3.1: seven
// bytes of header, of which the last is the unit; the length counts unit and
// PDU, and a PDU has at most 253 bytes.
const (
	mbapBytes  = 7
	longestPDU = 253
)

// silencesToClose is the number of requests in a row without any reply after
// which a connection is taken for dead. One alone does not close it: behind a
// gateway the silence is one unit's, and a late reply is told by its
// transaction id. Common practice, no source.
const silencesToClose = 3

// tcpLine is a Modbus TCP connection. Send has one request in flight, fly several.
type tcpLine struct {
	opener   opener[stream]
	conn     stream
	deadline time.Time
	id       uint16
	silences int
	replied  time.Time // when the last reply came

	buf  [2 * (mbapBytes + longestPDU)]byte
	have int
}

func newTCPLine(address string, longest time.Duration) *tcpLine {
	return newTCPLineOn(func(ctx context.Context) (stream, error) {
		s, err := dial(ctx, address)
		if err != nil {
			return nil, err // not a nil *socket in an interface
		}
		return s, nil
	}, longest)
}

func newTCPLineOn(open func(context.Context) (stream, error), longest time.Duration) *tcpLine {
	t := &tcpLine{}
	t.opener.open, t.opener.longest = open, longest
	return t
}

func (t *tcpLine) take(c stream) { t.conn, t.silences, t.replied = c, 0, time.Time{} }

func (t *tcpLine) connect(ctx context.Context) error {
	if t.conn != nil {
		return nil
	}
	c, err := t.opener.wait(ctx)
	if err != nil {
		return err
	}
	t.take(c)
	return nil
}

func (t *tcpLine) ready(openBy, _ time.Time) error {
	if t.conn != nil {
		return nil
	}
	c, ok := t.opener.try(openBy)
	if !ok {
		return errNotOpen
	}
	t.take(c)
	return nil
}

func (t *tcpLine) arm(deadline time.Time)                { t.deadline = deadline }
func (t *tcpLine) wire(request, reply int) time.Duration { return 0 }
func (t *tcpLine) isOpen() bool                          { return t.conn != nil }
func (t *tcpLine) whyClosed() error                      { return t.opener.last }

func (t *tcpLine) stillOpen() error {
	if t.conn == nil {
		return nil
	}
	err := t.conn.SetDeadline(time.Time{})
	if err == nil {
		err = t.conn.drain()
	}
	if err != nil {
		return t.fail(Closed, "connection lost", err)
	}
	return nil
}

func (t *tcpLine) distrust() {
	if t.conn != nil {
		t.conn.Close()
		t.conn = nil
		t.opener.failed()
	}
}

func (t *tcpLine) close() error {
	t.opener.close()
	if t.conn == nil {
		return nil
	}
	err := t.conn.Close()
	t.conn = nil
	return err
}

func (t *tcpLine) fail(reason Reason, text string, err error) error {
	t.distrust()
	return &lineError{reason, text, err}
}

// Send does one transaction. The transaction id is set here, because ids
// belong to the connection while packagers belong to units. The reply lies in
// a buffer of the line and holds until the next Send.
func (t *tcpLine) Send(request []byte) ([]byte, error) {
	if t.conn == nil {
		return nil, &lineError{Closed, "connection is closed", nil}
	}
	if err := t.conn.SetDeadline(t.deadline); err != nil {
		return nil, t.fail(Closed, "connection", err)
	}
	if err := t.unasked(); err != nil {
		return nil, t.fail(Closed, "connection lost", err)
	}
	t.id++
	binary.BigEndian.PutUint16(request, t.id)
	if _, err := t.conn.Write(request); err != nil {
		// Part of the request may be out: the stream is no longer in step.
		return nil, t.fail(transportReason(err), "sending", err)
	}
	t.have = 0
	for {
		frame, err := t.frame()
		if err != nil {
			return nil, err
		}
		if frame != nil {
			reply, err := t.accept(request, frame)
			if reply != nil || err != nil {
				t.replied = time.Now()
				return reply, err
			}
			t.have = copy(t.buf[:], t.buf[len(frame):t.have])
			continue
		}
		n, err := t.conn.Read(t.buf[t.have:])
		t.have += n
		if err != nil && n == 0 {
			return nil, t.broken(err)
		}
	}
}

// leisure is the time after a reply in which the other side is taken not to have
// closed the connection: one look less for all requests of a scan but the first.
const leisure = 2 * time.Millisecond

// unasked throws away what came in after the last reply and finds a connection
// that was closed since.
func (t *tcpLine) unasked() error {
	if time.Since(t.replied) < leisure {
		return nil
	}
	return t.conn.drain()
}

// broken closes the connection unless there was nothing but silence.
func (t *tcpLine) broken(err error) error {
	if !errors.Is(err, os.ErrDeadlineExceeded) {
		return t.fail(Closed, "connection lost", err)
	}
	t.silences++
	if t.have > 0 {
		return t.fail(Timeout, fmt.Sprintf("reply broke off after %d bytes", t.have), nil)
	}
	if t.silences >= silencesToClose {
		return t.fail(Timeout, fmt.Sprintf("no reply to %d requests in a row", t.silences), nil)
	}
	return &lineError{Timeout, "no reply", nil}
}

// frame returns the frame at the start of the buffer, nil if it is not whole yet.
func (t *tcpLine) frame() ([]byte, error) {
	if t.have < mbapBytes {
		return nil, nil
	}
	protocol := binary.BigEndian.Uint16(t.buf[2:])
	length := int(binary.BigEndian.Uint16(t.buf[4:]))
	if protocol != 0 || length < 3 || length > 1+longestPDU {
		return nil, t.fail(Reply, fmt.Sprintf("header % x is not Modbus TCP", t.buf[:mbapBytes]), nil)
	}
	if t.have < mbapBytes-1+length {
		return nil, nil
	}
	return t.buf[:mbapBytes-1+length], nil
}

// accept returns the frame if it answers the request and nothing if it answers
// an earlier one. Anything else means that the two sides are not in step.
func (t *tcpLine) accept(request, frame []byte) ([]byte, error) {
	id := binary.BigEndian.Uint16(frame)
	if age := t.id - id; age != 0 {
		if age < 1<<15 {
			return nil, nil
		}
		return nil, t.fail(Reply, fmt.Sprintf("transaction %d answered as %d", t.id, id), nil)
	}
	if frame[6] != request[6] {
		return nil, t.fail(Reply, fmt.Sprintf("unit %d answered as %d", request[6], frame[6]), nil)
	}
	if err := checkReply(request[mbapBytes:], frame[mbapBytes:]); err != nil {
		return nil, t.fail(Reply, "reply", err)
	}
	t.silences = 0
	t.opener.worked()
	return frame, nil
}

func transportReason(err error) Reason {
	if errors.Is(err, os.ErrDeadlineExceeded) {
		return Timeout
	}
	return Closed
}

package fieldbus

import (
	"context"
	"errors"
	"fmt"
	"time"

	"go.bug.st/serial"

	"drumwright/profiles"
)

// port is what the RTU line needs of a serial port; serial.Port has it. Read
// returns 0 bytes and no error when its time is up.
type port interface {
	Read([]byte) (int, error)
	Write([]byte) (int, error)
	SetReadTimeout(time.Duration) error
	ResetInputBuffer() error
	Close() error
}

// settle is the silence after which late bytes are taken to have ended; USB
// adapters hold bytes back for up to 16 ms (value from memory).
const settle = 20 * time.Millisecond

// rtuLine is a Modbus serial line.
type rtuLine struct {
	opener    opener[port]
	port      port
	character time.Duration // time of one character on the wire
	pause     time.Duration // silence between frames
	quiet     time.Duration // silence after an error
	rest      func(time.Duration)

	deadline   time.Time
	busyUntil  time.Time // end of the last bytes seen or sent
	quietUntil time.Time // zero unless there was an error
	buf        [512]byte
	have       int
}

func newRTULine(r *profiles.RTU, quiet, longest time.Duration) *rtuLine {
	l := newRTULineOn(func(context.Context) (port, error) { return openSerial(r) }, characterTime(modeOf(r)), quiet, longest)
	if r.PauseS > 0 {
		l.pause = seconds(float64(r.PauseS))
	}
	return l
}

func newRTULineOn(open func(context.Context) (port, error), character, quiet, longest time.Duration) *rtuLine {
	l := &rtuLine{character: character, pause: framePause(character), quiet: quiet, rest: rest}
	l.opener.open, l.opener.longest = open, longest
	return l
}

func modeOf(r *profiles.RTU) *serial.Mode {
	mode := &serial.Mode{BaudRate: r.Baud, DataBits: 8, Parity: serial.EvenParity, StopBits: serial.OneStopBit}
	switch r.Parity {
	case "odd":
		mode.Parity = serial.OddParity
	case "none":
		mode.Parity = serial.NoParity
	}
	if r.Stop == 2 || r.Stop == 0 && mode.Parity == serial.NoParity {
		mode.StopBits = serial.TwoStopBits
	}
	return mode
}

// characterTime is the time of start bit, eight data bits, parity and stop bits.
func characterTime(m *serial.Mode) time.Duration {
	bits := 10
	if m.Parity != serial.NoParity {
		bits++
	}
	if m.StopBits == serial.TwoStopBits {
		bits++
	}
	return time.Duration(bits) * time.Second / time.Duration(m.BaudRate)
}

// framePause is the silence between frames: 3.5 characters, and 1.75 ms where
// the line is faster than 19,200 baud (Modbus over serial line V1.02, section
// 2.5.1.1). At 19,200 baud 3.5 characters are 1.8 to 2.0 ms, above it less.
func framePause(character time.Duration) time.Duration {
	return max(character*7/2, 1750*time.Microsecond)
}

func (l *rtuLine) connect(ctx context.Context) error {
	if l.port != nil {
		return nil
	}
	p, err := l.opener.wait(ctx)
	if err != nil {
		return err
	}
	l.port = p
	return nil
}

// ready waits out the silence that must follow an error, if it ends before the
// deadline. What comes in meanwhile is a late reply and is thrown away.
func (l *rtuLine) ready(openBy, deadline time.Time) error {
	if l.port == nil {
		p, ok := l.opener.try(openBy)
		if !ok {
			return errNotOpen
		}
		l.port = p
	}
	for !l.quietUntil.IsZero() {
		left := time.Until(l.quietUntil)
		if left <= 0 {
			l.quietUntil = time.Time{}
			break
		}
		if l.quietUntil.After(deadline) {
			return errQuiet
		}
		n, err := l.readFor(left)
		if err != nil {
			l.distrust()
			return errNotOpen
		}
		if now := time.Now(); n > 0 {
			l.quietUntil = later(l.quietUntil, now.Add(min(settle, l.quiet)))
		} else if now.Before(l.quietUntil) {
			time.Sleep(l.quietUntil.Sub(now))
		}
	}
	return nil
}

func (l *rtuLine) arm(deadline time.Time) { l.deadline = deadline }
func (l *rtuLine) isOpen() bool           { return l.port != nil }
func (l *rtuLine) whyClosed() error       { return l.opener.last }

func (l *rtuLine) stillOpen() error { return nil }

func (l *rtuLine) wire(request, reply int) time.Duration {
	return time.Duration(request+reply)*l.character + 2*l.pause
}

func (l *rtuLine) distrust() {
	if l.port != nil {
		l.port.Close()
		l.port = nil
		l.opener.failed()
	}
}

func (l *rtuLine) close() error {
	l.opener.close()
	if l.port == nil {
		return nil
	}
	err := l.port.Close()
	l.port = nil
	return err
}

// fail starts the silence: a reply may still be on its way, and nothing in it
// would tell it from the reply to the next request.
func (l *rtuLine) fail(reason Reason, text string) error {
	l.quietUntil = time.Now().Add(l.quiet)
	return &lineError{reason, text, nil}
}

func (l *rtuLine) broken(text string, err error) error {
	l.distrust()
	l.quietUntil = time.Now().Add(l.quiet)
	return &lineError{Closed, text, err}
}

func (l *rtuLine) readFor(d time.Duration) (int, error) {
	if err := l.port.SetReadTimeout(max(d, 0)); err != nil {
		return 0, err
	}
	if l.have == len(l.buf) {
		l.have = 0
	}
	return l.port.Read(l.buf[l.have:])
}

// Send does one transaction. The reply lies in a buffer of the line and holds
// until the next Send.
func (l *rtuLine) Send(request []byte) ([]byte, error) {
	if l.port == nil {
		return nil, &lineError{Closed, "port is closed", nil}
	}
	l.rest(time.Until(l.busyUntil.Add(l.pause)))
	if err := l.port.ResetInputBuffer(); err != nil {
		return nil, l.broken("flushing", err)
	}
	if n, err := l.port.Write(request); err != nil || n != len(request) {
		return nil, l.broken(fmt.Sprintf("sent %d of %d bytes", n, len(request)), err)
	}
	l.busyUntil = time.Now().Add(time.Duration(len(request)) * l.character)
	l.have = 0
	for {
		left := time.Until(l.deadline)
		if left <= 0 {
			return nil, l.silence()
		}
		n, err := l.readFor(left)
		if err != nil {
			return nil, l.broken("port lost", err)
		}
		if n == 0 {
			return nil, l.silence()
		}
		l.have += n
		l.busyUntil = time.Now()
		frame, err := findReply(request, l.buf[:l.have])
		if errors.Is(err, errCRC) {
			return nil, l.fail(CRC, err.Error())
		}
		if err != nil || l.have == len(l.buf) {
			return nil, l.fail(Reply, "reply does not fit the request")
		}
		if frame != nil {
			l.opener.worked()
			return frame, nil
		}
	}
}

func (l *rtuLine) silence() error {
	if l.have == 0 {
		return l.fail(Timeout, "no reply")
	}
	return l.fail(Reply, fmt.Sprintf("%d bytes that are no reply", l.have))
}

var errCRC = errors.New("checksum of the reply is wrong")

// findReply looks for the first frame among the bytes that answers the request
// in address, function, length, content and checksum; nil if there is none yet.
// Replies of other units and single bytes of noise before it are passed over:
// with 40 bits that must agree, bytes within them are not mistaken for it.
func findReply(request, got []byte) ([]byte, error) {
	pdu := request[1 : len(request)-2]
	want := 1 + replyLen(pdu) + 2
	for k := 0; len(got)-k >= exceptionBytes; k++ {
		frame := got[k:]
		if frame[0] != request[0] {
			continue
		}
		n := 0
		switch frame[1] {
		case request[1]:
			n = want
		case request[1] | 0x80:
			n = exceptionBytes
		}
		if n == 0 || n > len(frame) {
			continue
		}
		frame = frame[:n]
		fits := checkReply(pdu, frame[1:n-2])
		if crc(frame) == 0 {
			if fits == nil || k == 0 {
				return frame, fits
			}
			continue
		}
		if k == 0 && fits == nil {
			return nil, errCRC
		}
	}
	return nil, nil
}

// exceptionBytes is the length of an RTU exception, the shortest reply.
const exceptionBytes = 5

// crc is the checksum of Modbus over serial line V1.02, section 6.2.2; over a
// whole frame with its own checksum, low byte first, it is 0.
func crc(b []byte) uint16 {
	c := uint16(0xFFFF)
	for _, x := range b {
		c = c>>8 ^ crcTable[byte(c)^x]
	}
	return c
}

var crcTable = func() (t [256]uint16) {
	for i := range t {
		c := uint16(i)
		for range 8 {
			if c&1 != 0 {
				c = c>>1 ^ 0xA001
			} else {
				c >>= 1
			}
		}
		t[i] = c
	}
	return t
}()

func later(a, b time.Time) time.Time {
	if a.After(b) {
		return a
	}
	return b
}

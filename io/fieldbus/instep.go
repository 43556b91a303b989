package fieldbus

import (
	"io"
	"log/slog"
	"os"
	"time"

	"drumwright/profiles"
)

// Exchange hands a frame to one bus of a simulated machine in the same program
// and returns what comes back at once and what comes when the master has given
// up waiting; nil = nothing. The frame is good during the call only.
type Exchange func(bus int, request []byte) (reply, late []byte)

// NewInStep is New for a simulated machine in the same program. Frames are those
// of the buses in the machine file, but a reply that does not come is known at
// once: nothing here waits for a clock, and what happens depends on no computer's
// load. The buses are served in turn by the caller.
func NewInStep(m *profiles.Machine, logger *slog.Logger, exchange Exchange) (*Fieldbus, error) {
	return newFieldbus(m, logger, exchange)
}

// inStepPatience is no more than a bound: nobody waits for it.
const inStepPatience = time.Minute

// inStepQuiet is the silence after an error, in which late bytes are heard and
// thrown away; it only must not be nothing.
const inStepQuiet = 10 * time.Microsecond

// looped is the end of a line that leads to a simulated machine.
type looped struct {
	bus      int
	exchange Exchange
	in       []byte
	late     []byte
}

func (l *looped) Write(b []byte) (int, error) {
	reply, late := l.exchange(l.bus, b)
	l.in = append(l.in, reply...)
	l.late = append(l.late, late...)
	return len(b), nil
}

// Read returns no bytes where a port would have waited in vain. What is late
// comes after that.
func (l *looped) Read(b []byte) (int, error) {
	n := copy(b, l.in)
	l.in = append(l.in[:0], l.in[n:]...)
	if n == 0 {
		l.in, l.late = append(l.in, l.late...), l.late[:0]
	}
	return n, nil
}

func (l *looped) SetReadTimeout(time.Duration) error { return nil }
func (l *looped) SetDeadline(time.Time) error        { return nil }
func (l *looped) Close() error                       { return nil }

func (l *looped) ResetInputBuffer() error {
	l.in = l.in[:0]
	return nil
}

// loopedStream is the same as a TCP connection. What came late stays in it ahead
// of the next reply.
type loopedStream struct{ *looped }

func (l loopedStream) Read(b []byte) (int, error) {
	n, err := l.looped.Read(b)
	if n == 0 {
		err = os.ErrDeadlineExceeded
	}
	return n, err
}

func (loopedStream) drain() error { return nil }

// stream is what the TCP line needs of a connection.
type stream interface {
	io.ReadWriteCloser
	SetDeadline(time.Time) error
	// drain throws away what has come in unasked, and finds a connection that
	// the other side has closed before a request is spent on it.
	drain() error
}

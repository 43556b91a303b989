package fieldbus

import (
	"context"
	"io"
	"net"
	"os"
	"sync"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// socket is a TCP connection that waits in the kernel for its bytes, not in the
// runtime's poller. A request is three system calls then (write, poll, read) in
// place of five and two changes of goroutine, and its deadline is an argument of
// poll in place of a timer. Reading and writing are those of package syscall, which
// the race detector knows to order what was done before with what is done after, at
// the other end too. The price is a thread that waits along, at most as long as the
// deadline; there is one bus or a few.
type socket struct {
	mu            sync.Mutex // no call may meet a descriptor that is closed and used anew
	fd            int        // -1 once closed
	until         time.Time
	local, remote net.Addr
	polled        [1]unix.PollFd
	scrap         [512]byte
}

func dial(ctx context.Context, address string) (*socket, error) {
	var d net.Dialer
	c, err := d.DialContext(ctx, "tcp", address)
	if err != nil {
		return nil, err
	}
	defer c.Close() // takes its descriptor out of the poller; ours stays
	raw, err := c.(*net.TCPConn).SyscallConn()
	if err != nil {
		return nil, err
	}
	s := &socket{local: c.LocalAddr(), remote: c.RemoteAddr()}
	var dup error
	if err := raw.Control(func(fd uintptr) { s.fd, dup = unix.FcntlInt(fd, unix.F_DUPFD_CLOEXEC, 0) }); err != nil {
		return nil, err
	}
	if dup != nil {
		return nil, s.failed("dup", dup)
	}
	return s, nil
}

func (s *socket) failed(call string, err error) error {
	return &net.OpError{Op: call, Net: "tcp", Source: s.local, Addr: s.remote, Err: os.NewSyscallError(call, err)}
}

// SetDeadline sets the time by which Read and Write return; the zero time is none.
func (s *socket) SetDeadline(t time.Time) error {
	s.until = t
	return nil
}

// wait waits until the socket can be read from or written to.
func (s *socket) wait(events int16) error {
	for {
		var limit *unix.Timespec
		if !s.until.IsZero() {
			left := time.Until(s.until)
			if left <= 0 {
				return os.ErrDeadlineExceeded
			}
			ts := unix.NsecToTimespec(left.Nanoseconds())
			limit = &ts
		}
		s.polled[0] = unix.PollFd{Fd: int32(s.fd), Events: events}
		switch n, err := unix.Ppoll(s.polled[:], limit, nil); {
		case err != nil && err != unix.EINTR:
			return s.failed("poll", err)
		case n > 0:
			return nil
		}
	}
}

// Read waits first: what answers a request is not there yet when that is sent.
func (s *socket) Read(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fd < 0 {
		return 0, net.ErrClosed
	}
	for {
		if err := s.wait(unix.POLLIN); err != nil {
			return 0, err
		}
		switch n, err := syscall.Read(s.fd, b); {
		case err == unix.EAGAIN || err == unix.EINTR:
		case err != nil:
			return 0, s.failed("read", err)
		case n == 0:
			return 0, io.EOF
		default:
			return n, nil
		}
	}
}

func (s *socket) Write(b []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fd < 0 {
		return 0, net.ErrClosed
	}
	for done := 0; ; {
		n, err := syscall.Write(s.fd, b[done:])
		switch done += max(n, 0); {
		case err == unix.EAGAIN:
			if err := s.wait(unix.POLLOUT); err != nil {
				return done, err
			}
		case err != nil && err != unix.EINTR:
			return done, s.failed("write", err)
		case done == len(b):
			return done, nil
		}
	}
}

func (s *socket) drain() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fd < 0 {
		return net.ErrClosed
	}
	for {
		switch n, err := syscall.Read(s.fd, s.scrap[:]); {
		case err == unix.EAGAIN:
			return nil
		case err == unix.EINTR:
		case err != nil:
			return s.failed("read", err)
		case n == 0:
			return io.EOF
		}
	}
}

func (s *socket) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.fd < 0 {
		return net.ErrClosed
	}
	fd := s.fd
	s.fd = -1
	if err := unix.Close(fd); err != nil {
		return s.failed("close", err)
	}
	return nil
}

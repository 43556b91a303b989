package fieldbus

import (
	"io"
	"net"
	"syscall"

	"golang.org/x/sys/unix"
)

// socket is a TCP connection whose waiting bytes can be thrown away.
type socket struct {
	*net.TCPConn
	raw   syscall.RawConn
	scrap [512]byte
	flush func(fd uintptr) bool // kept, so that no closure is made per request
	left  int
	lost  error
}

func newSocket(c *net.TCPConn) (*socket, error) {
	raw, err := c.SyscallConn()
	if err != nil {
		c.Close()
		return nil, err
	}
	s := &socket{TCPConn: c, raw: raw}
	s.flush = func(fd uintptr) bool {
		s.left, s.lost = unix.Read(int(fd), s.scrap[:])
		return true
	}
	return s, nil
}

func (s *socket) drain() error {
	for {
		if err := s.raw.Read(s.flush); err != nil {
			return err
		}
		switch {
		case s.lost == unix.EAGAIN:
			return nil
		case s.lost == unix.EINTR:
		case s.lost != nil:
			return s.lost
		case s.left == 0:
			return io.EOF
		}
	}
}

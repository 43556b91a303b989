package registers

import (
	"errors"
	"fmt"
	"os"
	"strconv"
	"time"

	"golang.org/x/sys/unix"
)

// pty is a pseudo-terminal that stands for a serial line: the server has the
// master side, clients open the path as they would a serial port.
type pty struct {
	master *os.File
	slave  *os.File // kept open, so that a client's close does not hang up the master
	path   string
}

func openPTY() (*pty, error) {
	// Non-blocking, so that Close ends a read.
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		return nil, fmt.Errorf("no pseudo-terminal: %w", err)
	}
	p := &pty{master: master}
	n := 0
	err = control(master, func(fd int) (err error) {
		if n, err = unix.IoctlGetInt(fd, unix.TIOCGPTN); err != nil {
			return fmt.Errorf("number of the pseudo-terminal: %w", err)
		}
		if err = unix.IoctlSetPointerInt(fd, unix.TIOCSPTLCK, 0); err != nil {
			return fmt.Errorf("unlocking the pseudo-terminal: %w", err)
		}
		return nil
	})
	if err == nil {
		p.path = "/dev/pts/" + strconv.Itoa(n)
		p.slave, err = os.OpenFile(p.path, os.O_RDWR|unix.O_NOCTTY, 0)
	}
	if err == nil {
		err = control(p.slave, makeRaw)
	}
	if err != nil {
		p.close()
		return nil, err
	}
	return p, nil
}

func control(f *os.File, do func(fd int) error) error {
	raw, err := f.SyscallConn()
	if err != nil {
		return err
	}
	var inner error
	if err := raw.Control(func(fd uintptr) { inner = do(int(fd)) }); err != nil {
		return err
	}
	return inner
}

// makeRaw turns everything off by which a terminal would change or answer
// bytes, for clients that do not do it themselves.
func makeRaw(fd int) error {
	t, err := unix.IoctlGetTermios(fd, unix.TCGETS)
	if err != nil {
		return fmt.Errorf("mode of the pseudo-terminal: %w", err)
	}
	t.Iflag &^= unix.IGNBRK | unix.BRKINT | unix.PARMRK | unix.ISTRIP | unix.INLCR | unix.IGNCR | unix.ICRNL | unix.IXON
	t.Oflag &^= unix.OPOST
	t.Lflag &^= unix.ECHO | unix.ECHONL | unix.ICANON | unix.ISIG | unix.IEXTEN
	t.Cflag = t.Cflag&^(unix.CSIZE|unix.PARENB) | unix.CS8
	t.Cc[unix.VMIN], t.Cc[unix.VTIME] = 1, 0
	if err := unix.IoctlSetTermios(fd, unix.TCSETS, t); err != nil {
		return fmt.Errorf("mode of the pseudo-terminal: %w", err)
	}
	return nil
}

// read waits for bytes, with atMost > 0 only so long; then it returns 0 bytes
// and no error.
func (p *pty) read(b []byte, atMost time.Duration) (int, error) {
	var until time.Time
	if atMost > 0 {
		until = time.Now().Add(atMost)
	}
	if err := p.master.SetReadDeadline(until); err != nil {
		return 0, err
	}
	n, err := p.master.Read(b)
	if !errors.Is(err, os.ErrDeadlineExceeded) {
		return n, err
	}
	// Bytes that came in time while this goroutine was kept waiting count.
	if err := p.master.SetReadDeadline(time.Time{}); err != nil {
		return 0, err
	}
	raw, err := p.master.SyscallConn()
	if err != nil {
		return 0, err
	}
	err = raw.Read(func(fd uintptr) bool {
		n, _ = unix.Read(int(fd), b)
		return true
	})
	return max(n, 0), err
}

// write sends bytes. Like a serial port it waits for nobody: what a client has
// left no room for is lost.
func (p *pty) write(b []byte) error {
	raw, err := p.master.SyscallConn()
	if err != nil {
		return err
	}
	return raw.Write(func(fd uintptr) bool {
		_, _ = unix.Write(int(fd), b)
		return true
	})
}

// share lets the next client open the line. A serial port is freed by its last
// close, also that of a client that was killed; this one never sees a last
// close, because the server keeps it open.
func (p *pty) share() {
	_ = control(p.slave, func(fd int) error { return unix.IoctlSetInt(fd, unix.TIOCNXCL, 0) }) // it only fails when closed
}

func (p *pty) close() {
	p.master.Close()
	if p.slave != nil {
		p.slave.Close()
	}
}

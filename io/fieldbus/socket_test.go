package fieldbus

import (
	"context"
	"errors"
	"net"
	"os"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"drumwright/io/point"
)

// pair is a socket and the other end of its connection.
func pair(t *testing.T) (*socket, net.Conn) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	s, err := dial(context.Background(), l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	far, err := l.Accept()
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { far.Close() })
	return s, far
}

// The other side reads nothing: a write ends at its deadline and says how much
// went out.
func TestSocketWriteEndsAtItsDeadline(t *testing.T) {
	s, _ := pair(t)
	s.SetDeadline(time.Now().Add(50 * time.Millisecond))
	n, err := s.Write(make([]byte, 64<<20)) // more than the kernel keeps for both ends
	if !errors.Is(err, os.ErrDeadlineExceeded) || n == 0 || n == 64<<20 {
		t.Errorf("%d bytes, %v", n, err)
	}
}

// A descriptor that is closed may be another file's by now.
func TestSocketClosedTouchesNothing(t *testing.T) {
	s, _ := pair(t)
	fd := s.fd
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	other, err := os.CreateTemp(t.TempDir(), "")
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	dup, err := unix.FcntlInt(other.Fd(), unix.F_DUPFD_CLOEXEC, fd)
	if err != nil || dup != fd {
		t.Fatalf("descriptor %d in place of %d: %v", dup, fd, err)
	}
	defer unix.Close(dup)
	_, read := s.Read(make([]byte, 1))
	_, wrote := s.Write([]byte("heat off"))
	for _, err := range []error{read, wrote, s.drain(), s.Close()} {
		if !errors.Is(err, net.ErrClosed) {
			t.Errorf("%v", err)
		}
	}
	if fi, err := other.Stat(); err != nil || fi.Size() != 0 {
		t.Errorf("%v %v", fi.Size(), err)
	}
}

// Errors name both ends, as those of package net do: more than one bus may be open.
func TestSocketErrorNamesTheEnds(t *testing.T) {
	s, far := pair(t)
	far.(*net.TCPConn).SetLinger(0)
	far.Close()
	_, err := s.Read(make([]byte, 1))
	want := "read tcp " + far.RemoteAddr().String() + "->" + far.LocalAddr().String() + ": read: connection reset by peer"
	if err == nil || err.Error() != want {
		t.Errorf("%v want %s", err, want)
	}
}

// In steady state a scan of reads makes nothing that must be collected.
func TestReadingAllocatesNothing(t *testing.T) {
	m := newMachine().tcp(responder(t))
	for k := range 8 {
		m.input(point.Input(k), plain(0, uint16(200*k)))
	}
	f := m.open(t)
	var img point.Image
	got := testing.AllocsPerRun(100, func() {
		f.Read(context.Background(), 0, time.Now().Add(time.Second), &img)
	})
	if got != 0 || img.In[7].Quality != point.Good {
		t.Errorf("%v allocations in a scan of eight reads, %+v", got, img.In[7])
	}
}

package panel

import (
	"context"
	"fmt"
	"io"
	"net"
	"strings"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumwright/io/record/recordtest"
)

// wires is a listener without a network, so that clients may be as slow as they
// like in a time that is not real.
type wires struct {
	come chan net.Conn
	over chan struct{}
	once sync.Once
}

func (w *wires) Accept() (net.Conn, error) {
	select {
	case c := <-w.come:
		return c, nil
	case <-w.over:
		return nil, net.ErrClosed
	}
}
func (w *wires) Close() error   { w.once.Do(func() { close(w.over) }); return nil }
func (w *wires) Addr() net.Addr { return here4 }

var here4 = &net.TCPAddr{IP: net.IPv4(127, 0, 0, 1), Port: 8420}

// wire has both ends on this computer, holds nothing that was not read, and tells
// when it is closed.
type wire struct {
	net.Conn
	once *sync.Once
	gone chan<- time.Time
}

func (wire) LocalAddr() net.Addr  { return here4 }
func (wire) RemoteAddr() net.Addr { return here4 }
func (w wire) Close() error {
	w.once.Do(func() { w.gone <- time.Now() })
	return w.Conn.Close()
}

// endless sends a sign each second until nobody takes it.
func endless(c net.Conn, sign string) {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for range tick.C {
		if _, err := io.WriteString(c, sign); err != nil {
			return
		}
	}
}

// Whoever is slow, on purpose or by a bad radio link, is let go after the time
// stated here, and all the while scans are taken without any waiting.
func TestSlowClientsAreLetGo(t *testing.T) {
	const host = "\r\nHost: 127.0.0.1:8420\r\n"
	for _, x := range []struct {
		name  string
		do    func(c net.Conn)
		after time.Duration
	}{
		{"says nothing", func(net.Conn) {}, 5 * time.Second},
		{"one header after the other", func(c net.Conn) { io.WriteString(c, "GET / HTTP/1.1"+host); endless(c, "X: y\r\n") }, 5 * time.Second},
		{"a header without end", func(c net.Conn) { io.WriteString(c, "GET / HTTP/1.1"+host+"X: "); endless(c, "y") }, 5 * time.Second},
		{"a body bit by bit", func(c net.Conn) {
			io.WriteString(c, "POST /api/v1/commands HTTP/1.1"+host+"Content-Type: application/json\r\nContent-Length: 1000\r\n\r\n")
			go io.Copy(io.Discard, c)
			endless(c, "{")
		}, 10 * time.Second},
		{"a body in pieces without end", func(c net.Conn) {
			io.WriteString(c, "POST /api/v1/commands HTTP/1.1"+host+"Content-Type: application/json\r\nTransfer-Encoding: chunked\r\n\r\n")
			go io.Copy(io.Discard, c)
			endless(c, "1\r\n{\r\n")
		}, 10 * time.Second},
		{"never reads its answer", func(c net.Conn) { io.WriteString(c, "GET / HTTP/1.1"+host+"\r\n") }, 15 * time.Second},
		{"comes back after a pause", func(c net.Conn) {
			io.WriteString(c, "GET /healthz HTTP/1.1"+host+"\r\n")
			io.Copy(io.Discard, c)
		}, 60 * time.Second},
		{"never reads its stream", func(c net.Conn) { io.WriteString(c, "GET /api/v1/events HTTP/1.1"+host+"\r\n") }, frameTime},
	} {
		t.Run(x.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				s, o := fresh()
				w := &wires{come: make(chan net.Conn), over: make(chan struct{})}
				ctx, cancel := context.WithCancel(t.Context())
				served := make(chan error, 1)
				go func() { served <- s.Serve(ctx, w) }()
				synctest.Wait()
				client, end := net.Pipe()
				gone, begun := make(chan time.Time, 1), time.Now()
				w.come <- wire{end, new(sync.Once), gone}
				var work sync.WaitGroup
				work.Go(func() { x.do(client) })
				tick := time.NewTicker(100 * time.Millisecond)
				defer tick.Stop()
				for n, open := 1, true; open; n++ {
					select {
					case at := <-gone:
						open = false
						if d := at.Sub(begun); d < x.after || d > x.after+time.Second {
							t.Errorf("let go after %v, want %v", d, x.after)
						}
					case <-tick.C:
						before, sc := time.Now(), recordtest.At(n)
						if s.Put(&sc); time.Since(before) != 0 {
							t.Error("a scan waited")
						}
						if time.Since(begun) > x.after+5*time.Second {
							t.Errorf("not let go after %v", x.after)
							open = false
						}
					}
				}
				if o.got != nil {
					t.Errorf("the machine got %+v", o.got)
				}
				client.Close()
				work.Wait()
				cancel()
				if err := <-served; err != nil {
					t.Error(err)
				}
			})
		})
	}
}

// Headers beyond what any browser sends are refused, not kept.
func TestLongHeaders(t *testing.T) {
	_, _, address, _, _ := serve(t)
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	c.SetDeadline(time.Now().Add(10 * time.Second))
	go fmt.Fprintf(c, "GET /healthz HTTP/1.1\r\nHost: %s\r\nX: %s\r\n\r\n", address, strings.Repeat("y", 64<<10))
	b := make([]byte, 64)
	n, _ := io.ReadAtLeast(c, b, 12)
	if got := string(b[:n]); !strings.HasPrefix(got, "HTTP/1.1 431") {
		t.Errorf("64 KiB of headers are answered with %q", got)
	}
}

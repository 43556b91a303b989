package fieldbus

import (
	"encoding/binary"
	"io"
	"net"
	"sync"
	"testing"
	"time"
)

// script is a TCP device whose every register holds its own address plus a
// step that rises with each request, so that a stale value shows. What it does
// with a request is up to its behaviour.
type script struct {
	t       testing.TB
	l       net.Listener
	address string
	mu      sync.Mutex
	act     func(c *exchange)
	conns   map[net.Conn]bool
	n       int // requests seen
	wg      sync.WaitGroup
}

// exchange is one request with the reply that a faithful device would give.
type exchange struct {
	conn    net.Conn
	n       int // number of the request, from 1
	request []byte
	reply   []byte
	kept    *[]byte // for a behaviour to keep a reply back until later
}

func newScript(t testing.TB) *script {
	t.Helper()
	s := &script{t: t, conns: map[net.Conn]bool{}, act: faithful}
	s.listen("127.0.0.1:0")
	t.Cleanup(s.stop)
	return s
}

func (s *script) listen(address string) {
	s.t.Helper()
	l, err := net.Listen("tcp", address)
	if err != nil {
		s.t.Fatal(err)
	}
	s.l, s.address = l, l.Addr().String()
	s.wg.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			s.mu.Lock()
			s.conns[c] = true
			s.mu.Unlock()
			s.wg.Go(func() { s.serve(c) })
		}
	})
}

// stop closes the listener and all connections.
func (s *script) stop() {
	s.l.Close()
	s.mu.Lock()
	for c := range s.conns {
		c.Close()
	}
	s.mu.Unlock()
	s.wg.Wait()
}

func (s *script) behave(act func(*exchange)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.act = act
}

func (s *script) serve(c net.Conn) {
	defer c.Close()
	var kept []byte
	for {
		head := make([]byte, 7)
		if _, err := io.ReadFull(c, head); err != nil {
			return
		}
		body := make([]byte, int(binary.BigEndian.Uint16(head[4:]))-1)
		if _, err := io.ReadFull(c, body); err != nil {
			return
		}
		s.mu.Lock()
		s.n++
		x := &exchange{conn: c, n: s.n, request: append(head, body...), kept: &kept}
		act := s.act
		s.mu.Unlock()
		x.reply = frameFor(x.request, answer(body, x.n))
		act(x)
	}
}

// answer is a faithful reply PDU. Register a holds a + 1000·n.
func answer(pdu []byte, n int) []byte {
	address, count := binary.BigEndian.Uint16(pdu[1:]), int(binary.BigEndian.Uint16(pdu[3:]))
	switch pdu[0] {
	case 1, 2:
		return append([]byte{pdu[0], byte((count + 7) / 8)}, make([]byte, (count+7)/8)...)
	case 3, 4:
		out := []byte{pdu[0], byte(2 * count)}
		for i := range count {
			out = binary.BigEndian.AppendUint16(out, address+uint16(i)+uint16(1000*n))
		}
		return out
	}
	return append([]byte{}, pdu[:5]...)
}

func frameFor(request, pdu []byte) []byte {
	f := append([]byte{}, request[:7]...)
	binary.BigEndian.PutUint16(f[4:], uint16(len(pdu)+1))
	return append(f, pdu...)
}

func faithful(x *exchange) { x.conn.Write(x.reply) }

func silent(*exchange) {}

// late answers each request with the reply to the one before.
func late(x *exchange) {
	old := *x.kept
	*x.kept = x.reply
	if old != nil {
		x.conn.Write(old)
	}
}

func lateThenFresh(x *exchange) {
	late(x)
	x.conn.Write(x.reply)
	*x.kept = x.reply
}

func twice(x *exchange) { x.conn.Write(append(append([]byte{}, x.reply...), x.reply...)) }

func changed(at int, to func(byte) byte) func(*exchange) {
	return func(x *exchange) {
		x.reply[at] = to(x.reply[at])
		x.conn.Write(x.reply)
	}
}

func short(x *exchange) { x.conn.Write(x.reply[:len(x.reply)-1]) }

// fewer answers with one register less than asked for, in a frame that is
// consistent in itself.
func fewer(x *exchange) {
	pdu := x.reply[7 : len(x.reply)-2]
	pdu[1] -= 2
	x.conn.Write(frameFor(x.request, pdu))
}

func more(x *exchange) {
	pdu := append(x.reply[7:], 0, 0)
	pdu[1] += 2
	x.conn.Write(frameFor(x.request, pdu))
}

func garbage(x *exchange) {
	noise := make([]byte, 20)
	for i := range noise {
		noise[i] = 0xFF
	}
	x.conn.Write(append(noise, x.reply...))
}

func zeros(x *exchange) { x.conn.Write(append([]byte{0, 0, 0}, x.reply...)) }

func reset(x *exchange) {
	x.conn.(*net.TCPConn).SetLinger(0)
	x.conn.Close()
}

func halfClose(x *exchange) { x.conn.(*net.TCPConn).CloseWrite() }

func exception(code byte) func(*exchange) {
	return func(x *exchange) { x.conn.Write(frameFor(x.request, []byte{x.request[7] | 0x80, code})) }
}

func longException(x *exchange) {
	x.conn.Write(frameFor(x.request, []byte{x.request[7] | 0x80, 2, 0}))
}

func byteByByte(x *exchange) {
	for i := range x.reply {
		x.conn.Write(x.reply[i : i+1])
	}
}

// soon enough for the time-out of tests, late enough to be a second packet
func inTwoParts(x *exchange) {
	x.conn.Write(x.reply[:5])
	<-time.After(3 * time.Millisecond)
	x.conn.Write(x.reply[5:])
}

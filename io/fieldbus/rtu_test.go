package fieldbus

import (
	"bytes"
	"context"
	"encoding/hex"
	"errors"
	"strings"
	"testing"
	"time"

	"go.bug.st/serial"

	"drumwright/io/point"
	"drumwright/profiles"
)

func unhex(t *testing.T, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// Check values of CRC-16/MODBUS: the string 123456789 gives 4B37 (catalogue of
// parametrised CRC algorithms, value from memory); 02 07 is the worked example
// of Modbus over serial line V1.02 (value from memory, computed independently).
func TestCRC(t *testing.T) {
	for _, c := range []struct {
		bytes string
		want  uint16
	}{{"313233343536373839", 0x4B37}, {"0207", 0x1241}, {"01030000000A", 0xCDC5}, {"010300000002", 0x0BC4}} {
		if got := crc(unhex(t, c.bytes)); got != c.want {
			t.Errorf("crc(%s) = %04X, want %04X", c.bytes, got, c.want)
		}
	}
	for i, want := range []uint16{0x0000, 0xC0C1, 0xC181, 0x0140, 0xC301, 0x03C0, 0x0280, 0xC241} {
		if crcTable[i] != want {
			t.Errorf("table[%d] = %04X, want %04X", i, crcTable[i], want)
		}
	}
}

// Requests and replies of the Modbus application protocol V1.1b3, sections 6.1
// to 6.12 and 7, with unit 11 hex and checksums computed independently (values
// from memory).
var published = []struct{ name, request, reply string }{
	{"read coils", "11 01 00 13 00 13 8E 92", "11 01 03 CD 6B 05 40 12"},
	{"read 37 coils", "11 01 00 13 00 25 0E 84", "11 01 05 CD 6B B2 0E 1B 45 E6"},
	{"read discrete inputs", "11 02 00 C4 00 16 BA A9", "11 02 03 AC DB 35 20 18"},
	{"read holding registers", "11 03 00 6B 00 03 76 87", "11 03 06 02 2B 00 00 00 64 C8 BA"},
	{"read input registers", "11 04 00 08 00 01 B2 98", "11 04 02 00 0A F8 F4"},
	{"write single coil", "11 05 00 AC FF 00 4E 8B", "11 05 00 AC FF 00 4E 8B"},
	{"write single register", "11 06 00 01 00 03 9A 9B", "11 06 00 01 00 03 9A 9B"},
	{"write multiple coils", "11 0F 00 13 00 0A 02 CD 01 BF 0B", "11 0F 00 13 00 0A 26 99"},
	{"write multiple registers", "11 10 00 01 00 02 04 00 0A 01 02 C6 F0", "11 10 00 01 00 02 12 98"},
	{"exception", "11 01 04 A1 00 01 AF 88", "11 81 02 C0 54"},
}

func TestPublishedRepliesAreFound(t *testing.T) {
	for _, c := range published {
		request, reply := unhex(t, c.request), unhex(t, c.reply)
		if crc(request) != 0 {
			t.Errorf("%s: request has a wrong checksum", c.name)
		}
		foreign := sealed(0x12, reply[1:len(reply)-2])
		for _, before := range [][]byte{nil, {0x00}, {0xFF, 0x00}, foreign} {
			got, err := findReply(request, append(bytes.Clone(before), reply...))
			if err != nil || !bytes.Equal(got, reply) {
				t.Errorf("%s after % x: found % x, %v", c.name, before, got, err)
			}
		}
		for n := range len(reply) {
			if got, err := findReply(request, reply[:n]); got != nil || err != nil {
				t.Errorf("%s: first %d bytes give % x, %v", c.name, n, got, err)
			}
		}
	}
}

// Any single changed byte must keep a reply from being accepted.
func TestNoDamagedReplyIsAccepted(t *testing.T) {
	for _, c := range published {
		request, reply := unhex(t, c.request), unhex(t, c.reply)
		for i := range reply {
			for flip := 1; flip < 256; flip++ {
				damaged := bytes.Clone(reply)
				damaged[i] ^= byte(flip)
				if got, err := findReply(request, damaged); got != nil && err == nil {
					t.Fatalf("%s: % x accepted", c.name, damaged)
				}
			}
		}
	}
}

// The bytes that the library makes of our calls are the published ones.
func TestPublishedRequestsAreSent(t *testing.T) {
	p := &fakePort{}
	l := newRTULineOn(func(context.Context) (port, error) { return p, nil }, 0, 0, 0)
	b := &bus{line: l}
	c := b.unit(0x11, 1).client
	for i, call := range []func() ([]byte, error){
		func() ([]byte, error) { return c.ReadCoils(0x13, 0x13) },
		func() ([]byte, error) { return c.ReadCoils(0x13, 0x25) },
		func() ([]byte, error) { return c.ReadDiscreteInputs(0xC4, 0x16) },
		func() ([]byte, error) { return c.ReadHoldingRegisters(0x6B, 3) },
		func() ([]byte, error) { return c.ReadInputRegisters(8, 1) },
		func() ([]byte, error) { return c.WriteSingleCoil(0xAC, 0xFF00) },
		func() ([]byte, error) { return c.WriteSingleRegister(1, 3) },
		func() ([]byte, error) { return c.WriteMultipleCoils(0x13, 10, []byte{0xCD, 1}) },
		func() ([]byte, error) { return c.WriteMultipleRegisters(1, 2, []byte{0, 10, 1, 2}) },
		func() ([]byte, error) { return c.ReadCoils(0x4A1, 1) },
	} {
		p.chunks = [][]byte{unhex(t, published[i].reply)}
		if err := l.ready(soon(), soon()); err != nil {
			t.Fatal(err)
		}
		l.arm(soon())
		_, err := call()
		if exceptional := published[i].name == "exception"; exceptional != (err != nil) || exceptional && causeOf(err) != point.Refused {
			t.Errorf("%s: %v", published[i].name, err)
		}
		if want := unhex(t, published[i].request); !bytes.Equal(p.sent, want) {
			t.Errorf("%s: sent % x, want % x", published[i].name, p.sent, want)
		}
	}
}

// fakePort hands out scripted chunks of bytes, then nothing.
type fakePort struct {
	sent    []byte
	chunks  [][]byte
	flushed bool
	err     error // once the chunks are used up
	closed  int
}

func (p *fakePort) Read(b []byte) (int, error) {
	if len(p.chunks) == 0 {
		return 0, p.err
	}
	n := copy(b, p.chunks[0])
	p.chunks = p.chunks[1:]
	return n, nil
}
func (p *fakePort) Write(b []byte) (int, error)        { p.sent = bytes.Clone(b); return len(b), nil }
func (p *fakePort) SetReadTimeout(time.Duration) error { return nil }
func (p *fakePort) ResetInputBuffer() error            { p.flushed = true; return nil }
func (p *fakePort) Close() error                       { p.closed++; return nil }

func TestRTUChunksAndErrors(t *testing.T) {
	request, reply := unhex(t, published[3].request), unhex(t, published[3].reply)
	exc := sealed(0x11, []byte{0x83, 2})
	bad := bytes.Clone(reply)
	bad[4] ^= 1
	pulled := &serial.PortError{}
	for _, c := range []struct {
		name   string
		chunks [][]byte
		err    error
		want   []byte
		reason Reason
		open   bool
	}{
		{"whole", [][]byte{reply}, nil, reply, 0, true},
		{"in three", [][]byte{reply[:1], reply[1:5], reply[5:]}, nil, reply, 0, true},
		{"exception split 4 + 1", [][]byte{exc[:4], exc[4:]}, nil, exc, 0, true},
		{"nothing", nil, nil, nil, Timeout, true},
		{"truncated", [][]byte{reply[:7]}, nil, nil, Reply, true},
		{"checksum", [][]byte{bad}, nil, nil, CRC, true},
		{"one register of three", [][]byte{sealed(0x11, []byte{3, 2, 0, 1})}, nil, nil, Reply, true},
		{"other function", [][]byte{sealed(0x11, []byte{4, 6, 0, 1, 0, 2, 0, 3})}, nil, nil, Reply, true},
		{"only another unit", [][]byte{sealed(0x12, reply[1:9])}, nil, nil, Reply, true},
		{"another unit, then the right one", [][]byte{sealed(0x12, reply[1:9]), reply}, nil, reply, 0, true},
		{"hang-up", nil, pulled, nil, Closed, false},
		{"hang-up in the middle", [][]byte{reply[:4]}, pulled, nil, Closed, false},
		{"endless noise", [][]byte{make([]byte, 256), make([]byte, 256)}, nil, nil, Reply, true},
	} {
		p := &fakePort{chunks: c.chunks, err: c.err}
		l := newRTULineOn(func(context.Context) (port, error) { return p, nil }, 0, time.Hour, time.Hour)
		if err := l.connect(context.Background()); err != nil {
			t.Fatal(err)
		}
		l.arm(soon())
		got, err := l.Send(request)
		if !bytes.Equal(got, c.want) || (err == nil) != (c.want != nil) {
			t.Errorf("%s: % x, %v", c.name, got, err)
		}
		var le *lineError
		if err != nil && (!errors.As(err, &le) || le.reason != c.reason) {
			t.Errorf("%s: %v, want reason %v", c.name, err, c.reason)
		}
		if l.isOpen() != c.open || (p.closed == 0) != c.open {
			t.Errorf("%s: open %v, port closed %d times", c.name, l.isOpen(), p.closed)
		}
		if err != nil && c.open && l.ready(soon(), soon()) != errQuiet {
			t.Errorf("%s: no silence after the error", c.name)
		}
	}
}

// Times of Modbus over serial line V1.02: 11 bits a character at 9600 baud even
// parity give 3.5 characters of 4.0104 ms; above 19,200 baud 1.75 ms (as quoted
// in articles on the guide).
func TestFramePause(t *testing.T) {
	for _, c := range []struct {
		r    profiles.RTU
		want time.Duration
	}{
		{profiles.RTU{Baud: 9600}, 4010400 * time.Nanosecond},
		{profiles.RTU{Baud: 1200, Parity: "odd"}, 32083 * time.Microsecond},
		{profiles.RTU{Baud: 19200, Parity: "none"}, 2005200 * time.Nanosecond},
		{profiles.RTU{Baud: 115200}, 1750 * time.Microsecond},
	} {
		got := framePause(characterTime(modeOf(&c.r)))
		if d := got - c.want; d < -time.Microsecond || d > time.Microsecond {
			t.Errorf("%+v: pause %v, want %v", c.r, got, c.want)
		}
	}
}

// A reply that comes after its time-out, while the line is kept quiet.
func TestRTUStaleReplyIsThrownAway(t *testing.T) {
	request, reply := unhex(t, published[3].request), unhex(t, published[3].reply)
	p := &fakePort{}
	l := newRTULineOn(func(context.Context) (port, error) { return p, nil }, 0, 5*time.Millisecond, 0)
	if err := l.connect(context.Background()); err != nil {
		t.Fatal(err)
	}
	l.arm(soon())
	if _, err := l.Send(request); reasonOf(err) != Timeout {
		t.Fatal(err)
	}
	p.chunks = [][]byte{sealed(0x11, []byte{3, 6, 9, 9, 9, 9, 9, 9})}
	begin := time.Now()
	if err := l.ready(soon(), soon()); err != nil || len(p.chunks) != 0 {
		t.Fatalf("%v, %d chunks left", err, len(p.chunks))
	}
	if d := time.Since(begin); d < 4*time.Millisecond {
		t.Errorf("line was quiet for %v only", d)
	}
	p.chunks = [][]byte{reply}
	p.flushed = false
	l.arm(soon())
	if got, err := l.Send(request); err != nil || !bytes.Equal(got, reply) || !p.flushed {
		t.Errorf("% x, %v, flushed %v", got, err, p.flushed)
	}
}

func after(d time.Duration, x *frame, b []byte) {
	x.d.wg.Add(1)
	time.AfterFunc(d, func() {
		defer x.d.wg.Done()
		x.d.mu.Lock()
		defer x.d.mu.Unlock()
		x.d.master.Write(b)
	})
}

func TestRTUFaultsOverPseudoTerminal(t *testing.T) {
	for _, c := range []struct {
		name   string
		act    func(*frame)
		works  bool
		cause  point.Cause
		silent bool // shows by the end of the time-out
	}{
		{"silent", func(*frame) {}, false, point.Timeout, true},
		{"checksum", func(x *frame) { x.reply[4] ^= 1; x.send(x.reply...) }, false, point.WrongReply, false},
		{"truncated", func(x *frame) { x.send(x.reply[:6]...) }, false, point.WrongReply, true},
		{"noise byte first", func(x *frame) { x.send(append([]byte{0}, x.reply...)...) }, true, 0, false},
		{"noise byte last", func(x *frame) { x.send(append(x.reply, 0)...) }, true, 0, false},
		{"reply of another unit first", func(x *frame) {
			x.send(sealed(9, x.reply[1:len(x.reply)-2])...)
			x.send(x.reply...)
		}, true, 0, false},
		{"late, past the time-out", func(x *frame) { after(150*time.Millisecond, x, x.reply) }, false, point.Timeout, true},
		{"every reply twice", func(x *frame) { x.send(append(x.reply, x.reply...)...) }, true, 0, false},
		{"exception split", func(x *frame) {
			e := sealed(x.request[0], []byte{x.request[1] | 0x80, 4})
			x.send(e[:4]...)
			after(time.Millisecond, x, e[4:])
		}, false, point.Refused, false},
		{"byte by byte", func(x *frame) {
			for _, b := range x.reply {
				x.send(b)
			}
		}, true, 0, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			d := newDevice(t)
			m := newMachine().rtu(d.path)
			// Long enough that a busy test machine is no fault; short where
			// the fault shows by silence, with a silence after it that covers
			// any stall of the test machine.
			file := &m.BusList[0].BusFile
			file.TimeoutS, file.QuietS = 2, 0.05
			if c.silent {
				file.TimeoutS, file.QuietS, file.Retries = 0.06, 0.4, 0
			}
			a, b := plain(0, 10), plain(0, 20)
			b.Unit = 2
			m.input(point.Bean, a).input(point.Exhaust, b)
			f := m.open(t)
			if err := f.Open(context.Background()); err != nil {
				t.Fatal(err)
			}
			now := 0.0
			scan := func() bool {
				img := m.scan(f, now)
				now += 0.1
				if v := img.In[point.Exhaust]; v.Quality != point.Good || v.V != valueOf(20, d.lastOf(2)) {
					t.Errorf("the other unit gives %+v, want %v", v, valueOf(20, d.lastOf(2)))
				}
				v := img.In[point.Bean]
				if v.Quality == point.Good && v.V != valueOf(10, d.lastOf(1)) {
					t.Errorf("%+v accepted as good, the device says %v", v, valueOf(10, d.lastOf(1)))
				}
				if v.Quality == point.Uncertain && v.Cause != c.cause {
					t.Errorf("cause %q, want %q", v.Cause, c.cause)
				}
				return v.Quality == point.Good
			}
			eventually(t, "good value before the fault", scan)
			d.behave(func(x *frame) {
				if x.request[0] == 1 {
					c.act(x)
				} else {
					x.send(x.reply...)
				}
			})
			for range 2 {
				if scan() != c.works {
					t.Errorf("good with fault, want good = %v", c.works)
				}
			}
			d.behave(func(x *frame) { x.send(x.reply...) })
			eventually(t, "recovery", scan)
		})
	}
}

func TestRTUAdapterPulledOut(t *testing.T) {
	d := newDevice(t)
	m := newMachine().rtu(d.path).input(point.Bean, number(0, point.Holding, 10))
	f := m.open(t)
	img := m.scan(f, 0)
	good(t, &img, point.Bean, 101)
	d.hangUp()
	for i := range 3 {
		begin := time.Now()
		img = m.scan(f, 0.1+0.1*float64(i))
		if v := img.In[point.Bean]; v.Quality != point.Uncertain || v.Cause != point.BusDown {
			t.Errorf("%+v, want uncertain, bus down", v)
		}
		if took := time.Since(begin); took > time.Second {
			t.Errorf("scan took %v", took)
		}
	}
	if s := f.Stats().Buses[0]; s.Connected || s.Units[0].Errors[Closed] == 0 {
		t.Errorf("stats %+v", s)
	}
}

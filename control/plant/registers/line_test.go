package registers

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"os"
	"testing"
	"time"

	"go.bug.st/serial"
	"golang.org/x/sys/unix"

	"drumwright/control/plant"
	"drumwright/io/point"
	"drumwright/profiles"
)

func example(t testing.TB, name string) *profiles.Machine {
	t.Helper()
	data, ok := profiles.Example("machines/" + name + ".yaml")
	if !ok {
		t.Fatalf("no example machine %s", name)
	}
	m, err := profiles.ParseMachine(name, data)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func simulated(t testing.TB, m *profiles.Machine) *Server {
	t.Helper()
	machine, err := plant.New(ParamsFor(m), 1)
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(m, machine)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return s
}

func listen(t testing.TB, s *Server) {
	t.Helper()
	if err := s.Listen(true); err != nil {
		t.Fatal(err)
	}
}

// master is a Modbus master that sends what it is told and shows what comes.
type master struct {
	t    testing.TB
	port *os.File
}

func newMaster(t testing.TB, path string) *master {
	t.Helper()
	port, err := os.OpenFile(path, os.O_RDWR|unix.O_NOCTTY|unix.O_NONBLOCK, 0)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { port.Close() })
	return &master{t, port}
}

func (m *master) send(unit uint8, pdu ...byte) []byte {
	m.t.Helper()
	f := sealed(unit, pdu)
	if _, err := m.port.Write(f); err != nil {
		m.t.Fatal(err)
	}
	return f
}

// read is a request for one input register of a unit.
func (m *master) read(unit uint8, address byte) []byte { return m.send(unit, 4, 0, address, 0, 1) }

// hear waits for n bytes.
func (m *master) hear(n int) []byte {
	m.t.Helper()
	b := make([]byte, n)
	_ = m.port.SetReadDeadline(time.Now().Add(5 * time.Second))
	if _, err := io.ReadFull(m.port, b); err != nil {
		m.t.Fatal(err)
	}
	return b
}

// oneReading is the length of a reply with one register.
const oneReading = 7

// Character time and silence of Modbus over serial line V1.02 with 11 bits a
// character, computed independently (Python, double precision).
func TestTiming(t *testing.T) {
	for _, c := range []struct {
		baud                    int
		characterMS, silenceMS  float64
		tenRegisters, turnround float64 // both frames, one silence and the device, ms
	}{
		{1200, 9.1667, 32.083, 302.5 + 32.083 + 2, 2},
		{9600, 1.1458, 4.0104, 37.8125 + 4.0104 + 2, 2},
		{19200, 0.5729, 2.0052, 18.906 + 2.0052 + 5, 5},
		{38400, 0.2865, 1.75, 9.4531 + 1.75, 0},
		{115200, 0.0955, 1.75, 3.1510 + 1.75 + 2, 2},
	} {
		got := timingOf(&profiles.RTU{Baud: c.baud, Parity: "even", Stop: 1}, time.Duration(c.turnround*1e6))
		for _, x := range []struct {
			name string
			got  time.Duration
			want float64
		}{{"character", got.character, c.characterMS}, {"silence", got.silence, c.silenceMS}, {"exchange", got.exchange(8, 25), c.tenRegisters}} {
			if ms := float64(x.got) / 1e6; ms < x.want-0.001 || ms > x.want+0.001 {
				t.Errorf("%d baud: %s %.4f ms, want %.4f", c.baud, x.name, ms, x.want)
			}
		}
	}
	for _, c := range []struct {
		parity     string
		stop, bits int
	}{{"none", 0, 11}, {"none", 1, 10}, {"none", 2, 11}, {"even", 0, 11}, {"odd", 1, 11}, {"odd", 2, 12}} {
		got := timingOf(&profiles.RTU{Baud: 1000, Parity: c.parity, Stop: c.stop}, 0)
		if got.character != time.Duration(c.bits)*time.Millisecond {
			t.Errorf("parity %s, %d stop bits: %v a character of %d bits at 1000 baud", c.parity, c.stop, got.character, c.bits)
		}
	}
}

func TestPacedReplyComesNoSoonerThanTheWireAllows(t *testing.T) {
	m := example(t, "lark-300")
	m.BusList[0].RTU.Baud = 1200
	s := simulated(t, m)
	s.TurnRound = 5 * time.Millisecond
	listen(t, s)
	c := newMaster(t, m.BusList[0].RTU.Device)
	begin := time.Now()
	c.read(2, 0)
	c.hear(oneReading)
	// (8 + 7) characters of 11 bits at 1200 baud, 3.5 characters, turn-round.
	if took, least := time.Since(begin), 174*time.Millisecond; took < least {
		t.Errorf("reply after %v, the wire alone takes %v", took, least)
	}
}

func TestOthersAnswerBesideSilentUnits(t *testing.T) {
	m := example(t, "lark-300")
	s := simulated(t, m)
	s.Unpaced = true
	listen(t, s)
	c := newMaster(t, m.BusList[0].RTU.Device)
	if err := s.Silence(point.DrumPulses, true); err != nil { // unit 3
		t.Fatal(err)
	}
	c.read(3, 0)
	c.send(3, 4, 0, 0, 0, 0) // no registers: nothing to say to that either
	c.send(3, 7)             // an unknown function, which ends with a silence only
	c.read(9, 0)             // no such unit
	c.send(0, 6, 0, 0, 0, 1) // broadcast
	var got []byte
	for got == nil { // the unknown function swallows what follows it without a pause
		c.read(2, 0)
		b := make([]byte, oneReading)
		_ = c.port.SetReadDeadline(time.Now().Add(100 * time.Millisecond))
		switch n, err := io.ReadFull(c.port, b); {
		case err == nil:
			got = b
		case n > 0 || !errors.Is(err, os.ErrDeadlineExceeded):
			t.Fatalf("% X, %v", b[:n], err)
		}
	}
	if got[0] != 2 || crc(got) != 0 {
		t.Errorf("first reply is % X, want unit 2", got)
	}
	if err := s.Silence(point.DrumPulses, false); err != nil {
		t.Fatal(err)
	}
	c.read(3, 0)
	for got[0] == 2 { // replies that were given up too soon
		got = c.hear(oneReading)
	}
	if got[0] != 3 || crc(got) != 0 {
		t.Errorf("after the silence unit 3 says % X", got)
	}
}

func TestUnknownFunctionIsRefused(t *testing.T) {
	m := example(t, "lark-300")
	s := simulated(t, m)
	listen(t, s)
	c := newMaster(t, m.BusList[0].RTU.Device)
	c.send(2, 0x11) // report server id
	if got, want := c.hear(5), sealed(2, []byte{0x91, illegalFunction}); !bytes.Equal(got, want) {
		t.Errorf("reply % X, want % X", got, want)
	}
}

func TestWireFaults(t *testing.T) {
	m := example(t, "lark-300")
	s := simulated(t, m)
	s.Unpaced = true
	listen(t, s)
	c := newMaster(t, m.BusList[0].RTU.Device)
	ask := func(address byte) []byte {
		c.read(2, address)
		return c.hear(oneReading)
	}
	sound := [6][]byte{}
	for i := range sound {
		sound[i] = ask(byte(i))
		if crc(sound[i]) != 0 || sound[i][0] != 2 {
			t.Fatalf("sound reply % X", sound[i])
		}
	}

	s.SetWireFaults(WireFaults{DropEvery: 2})
	for i := range 2 {
		if got := ask(0); !bytes.Equal(got, sound[0]) {
			t.Errorf("round %d: % X, want % X", i, got, sound[0])
		}
		c.read(2, 1) // dropped: the next reply is that of the next request
	}
	ask(0) // all before it has been dealt with

	s.SetWireFaults(WireFaults{CorruptEvery: 2})
	ask(0)
	if got := ask(1); crc(got) == 0 || !bytes.Equal(got[:oneReading-1], sound[1][:oneReading-1]) {
		t.Errorf("corrupt reply % X of % X", got, sound[1])
	}

	s.SetWireFaults(WireFaults{ForeignEvery: 1})
	if got := ask(1); crc(got) != 0 || got[0] != 3 {
		t.Errorf("foreign reply % X", got)
	}

	s.SetWireFaults(WireFaults{LateEvery: 2, LateBy: 10 * time.Millisecond})
	ask(0)
	begin := time.Now()
	if got := ask(1); !bytes.Equal(got, sound[1]) || time.Since(begin) < 10*time.Millisecond {
		t.Errorf("late reply % X after %v", got, time.Since(begin))
	}

	s.SetWireFaults(WireFaults{LateEvery: 2, LateBy: time.Hour})
	ask(0)
	c.read(2, 1) // still on its way when the server closes
	if got := ask(2); !bytes.Equal(got, sound[2]) {
		t.Errorf("behind a late reply: % X, want % X", got, sound[2])
	}
}

// A client that was killed gives nothing back. The next must find the line free
// all the same, which for ordinary users the exclusive mode would prevent.
func TestNextClientFindsTheLineFree(t *testing.T) {
	m := example(t, "lark-300")
	s := simulated(t, m)
	s.Unpaced = true
	listen(t, s)
	path := m.BusList[0].RTU.Device
	for range 2 {
		p, err := serial.Open(path, &serial.Mode{BaudRate: 57600, DataBits: 8, Parity: serial.EvenParity, StopBits: serial.OneStopBit})
		if err != nil {
			t.Fatal(err)
		}
		if exclusive(t, s) == 0 {
			t.Fatal("the library does not ask for exclusive mode: this test shows nothing")
		}
		if _, err := p.Write(sealed(2, []byte{4, 0, 0, 0, 1})); err != nil {
			t.Fatal(err)
		}
		if _, err := io.ReadFull(p, make([]byte, oneReading)); err != nil {
			t.Fatal(err)
		}
		if exclusive(t, s) != 0 {
			t.Error("line is still exclusive after a request")
		}
		p.Close()
	}
}

func exclusive(t *testing.T, s *Server) (on int) {
	t.Helper()
	if err := control(s.lines[0].pty.slave, func(fd int) (err error) {
		on, err = unix.IoctlGetInt(fd, unix.TIOCGEXCL)
		return err
	}); err != nil {
		t.Fatal(err)
	}
	return on
}

func TestClientsComeAndGo(t *testing.T) {
	m := example(t, "lark-300")
	s := simulated(t, m)
	s.Unpaced = true
	listen(t, s)
	for i := range 3 {
		c := newMaster(t, m.BusList[0].RTU.Device)
		c.read(2, 0)
		if got := c.hear(oneReading); crc(got) != 0 {
			t.Errorf("client %d: % X", i, got)
		}
		c.port.Close()
	}
}

// Every byte value must pass unchanged both ways, in a mode that the client has
// not set up.
func TestBytesPassUnchanged(t *testing.T) {
	m := example(t, "lark-300")
	s := simulated(t, m)
	s.Unpaced = true
	listen(t, s)
	c := newMaster(t, m.BusList[0].RTU.Device)
	for v := range 256 {
		w := uint16(v)<<8 | uint16(v)
		pdu := binary.BigEndian.AppendUint16([]byte{6, 0x20, 0x01}, w) // drum speed
		if got := c.send(1, pdu...); !bytes.Equal(c.hear(len(got)), got) {
			t.Fatalf("% X does not come back", got)
		}
		c.send(1, 3, 0x20, 0x01, 0, 1)
		if got := c.hear(oneReading); binary.BigEndian.Uint16(got[3:]) != w {
			t.Fatalf("%04X reads back as % X", w, got)
		}
	}
}

func BenchmarkExchange(b *testing.B) {
	for _, unpaced := range []bool{true, false} {
		b.Run(fmt.Sprintf("unpaced=%v", unpaced), func(b *testing.B) {
			m := example(b, "lark-300")
			s := simulated(b, m)
			s.Unpaced = unpaced
			listen(b, s)
			c := newMaster(b, m.BusList[0].RTU.Device)
			for b.Loop() {
				c.read(2, 0)
				c.hear(oneReading)
			}
		})
	}
}

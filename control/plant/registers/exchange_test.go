package registers

import (
	"bytes"
	"encoding/binary"
	"io"
	"net"
	"testing"
	"time"

	"drumwright/io/point"
)

// What Exchange gives back on a TCP bus is what the server by other hands puts
// on the wire, byte for byte.
func TestExchangeIsWhatTheSocketGives(t *testing.T) {
	m := example(t, "heron-1000")
	s := simulated(t, m)
	listen(t, s)
	tcp := m.BusList[0].TCP
	conn, err := net.DialTCP("tcp", nil, &net.TCPAddr{IP: net.ParseIP(tcp.Host), Port: tcp.Port})
	if err != nil {
		t.Fatal(err)
	}
	defer conn.Close()
	bean, heat := m.In[point.Bean], m.Out[point.AirHeaterPower]
	at := func(function byte, a point.Access, words ...byte) []byte {
		return append([]byte{function, byte(a.Address >> 8), byte(a.Address)}, words...)
	}
	read := byte(4)
	if bean.Table == point.Holding {
		read = 3
	}
	for id, c := range []struct {
		name string
		unit uint8
		pdu  []byte
	}{
		{"reading", bean.Unit, at(read, bean, 0, 1)},
		{"nothing there", bean.Unit, at(read, point.Access{Address: 0xFFF0}, 0, 1)},
		{"no such unit", 99, at(read, bean, 0, 1)},
		{"heat", heat.Unit, at(6, heat, 0, 10)},
	} {
		frame := binary.BigEndian.AppendUint16(nil, uint16(id+7))
		frame = append(frame, 0, 0, 0, byte(len(c.pdu)+1), c.unit)
		frame = append(frame, c.pdu...)
		got, late := s.Exchange(0, frame)
		if _, err := conn.Write(frame); err != nil {
			t.Fatal(err)
		}
		want := make([]byte, len(got))
		if err := conn.SetReadDeadline(time.Now().Add(5 * time.Second)); err != nil {
			t.Fatal(err)
		}
		if _, err := io.ReadFull(conn, want); err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(got, want) || late != nil || len(got) < headerBytes+2 {
			t.Errorf("%s: % X, late % X; the socket gave % X", c.name, got, late, want)
		}
	}
	if got, _ := s.Exchange(0, []byte{0, 1, 0, 0, 0, 9, 1, 3}); got != nil {
		t.Errorf("a frame that is cut off is answered by % X", got)
	}
	if err := s.Silence(point.Bean, true); err != nil {
		t.Fatal(err)
	}
	pdu := at(read, bean, 0, 1)
	if got, late := s.Exchange(0, append([]byte{0, 1, 0, 0, 0, byte(len(pdu) + 1), bean.Unit}, pdu...)); got != nil || late != nil {
		t.Errorf("a silent unit gave % X, late % X", got, late)
	}
}

// On a serial bus it is what comes through the pseudo-terminal, spoilt in the
// same ways.
func TestExchangeIsWhatTheLineGives(t *testing.T) {
	m := example(t, "lark-300")
	s := simulated(t, m)
	s.Unpaced = true
	listen(t, s)
	c := newMaster(t, m.BusList[0].RTU.Device)
	request := sealed(2, []byte{4, 0, 1, 0, 1})
	for _, f := range []WireFaults{{}, {CorruptEvery: 1}, {ForeignEvery: 1}} {
		s.SetWireFaults(f)
		c.read(2, 1)
		want := c.hear(oneReading)
		if got, late := s.Exchange(0, request); !bytes.Equal(got, want) || late != nil {
			t.Errorf("%+v: % X, late % X; the line gave % X", f, got, late, want)
		}
	}
	s.SetWireFaults(WireFaults{})
	sound, _ := s.Exchange(0, request)
	s.SetWireFaults(WireFaults{DropEvery: 1})
	if got, late := s.Exchange(0, request); got != nil || late != nil {
		t.Errorf("dropped: % X, late % X", got, late)
	}
	s.SetWireFaults(WireFaults{LateEvery: 1})
	if got, late := s.Exchange(0, request); got != nil || !bytes.Equal(late, sound) {
		t.Errorf("late: % X, late % X, want % X", got, late, sound)
	}
	request[0] ^= 1
	if got, _ := s.Exchange(0, request); got != nil {
		t.Errorf("a wrong checksum is answered by % X", got)
	}
}

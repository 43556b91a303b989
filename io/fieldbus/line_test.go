package fieldbus

import (
	"bytes"
	"context"
	"slices"
	"sync"
	"testing"
	"time"

	"drumwright/io/point"
)

func TestCheckReply(t *testing.T) {
	read, write := []byte{3, 0, 0x6B, 0, 3}, []byte{6, 0, 1, 0, 3}
	for _, c := range []struct {
		name           string
		request, reply []byte
		ok             bool
	}{
		{"registers", read, []byte{3, 6, 2, 0x2B, 0, 0, 0, 0x64}, true},
		{"exception", read, []byte{0x83, 2}, true},
		{"echo", write, []byte{6, 0, 1, 0, 3}, true},
		{"echo of function 16", []byte{16, 0, 1, 0, 2, 4, 0, 10, 1, 2}, []byte{16, 0, 1, 0, 2}, true},
		{"nothing", read, nil, false},
		{"one byte", read, []byte{3}, false},
		{"byte count of another quantity", read, []byte{3, 4, 2, 0x2B, 0, 0}, false},
		{"byte count that its bytes belie", read, []byte{3, 4, 2, 0x2B, 0, 0, 0, 0x64}, false},
		{"another function", read, []byte{4, 6, 2, 0x2B, 0, 0, 0, 0x64}, false},
		{"exception of another function", read, []byte{0x84, 2}, false},
		{"exception with more", read, []byte{0x83, 2, 0}, false},
		{"echo of another address", write, []byte{6, 0, 2, 0, 3}, false},
		{"echo of another value", write, []byte{6, 0, 1, 0, 4}, false},
		{"echo with more", write, []byte{6, 0, 1, 0, 3, 0}, false},
	} {
		if err := checkReply(c.request, c.reply); (err == nil) != c.ok {
			t.Errorf("%s: %v", c.name, err)
		}
	}
}

// answeringPort replies to every request at once, like a sound device.
type answeringPort struct {
	fakePort
	units []byte // units asked, in turn
	read  time.Time
	gaps  []time.Duration // silence on the line before each request but the first
}

func (p *answeringPort) Write(b []byte) (int, error) {
	if !p.read.IsZero() {
		p.gaps = append(p.gaps, time.Since(p.read))
	}
	p.units = append(p.units, b[0])
	p.chunks = [][]byte{sealed(b[0], answer(bytes.Clone(b[1:]), 1))}
	return len(b), nil
}

func (p *answeringPort) Read(b []byte) (int, error) {
	p.read = time.Now()
	return p.fakePort.Read(b)
}

// answering puts such a port under a serial bus with a character time of 1 ms.
func answering(t *testing.T, m *builder) (*Fieldbus, *answeringPort) {
	t.Helper()
	f := m.open(t)
	p := &answeringPort{}
	l := f.buses[0].line.(*rtuLine)
	l.opener.open = func(context.Context) (port, error) { return p, nil }
	l.character, l.pause = time.Millisecond, framePause(time.Millisecond)
	if err := f.Open(context.Background()); err != nil {
		t.Fatal(err)
	}
	return f, p
}

func onUnit(unit uint8, a point.Access) point.Access {
	a.Unit = unit
	return a
}

func TestRTUKeepsThePauseBetweenFrames(t *testing.T) {
	f, p := answering(t, newMachine().rtu("/dev/none").
		input(point.Bean, onUnit(1, plain(0, 10))).input(point.Exhaust, onUnit(2, plain(0, 10))))
	var img point.Image
	f.Read(context.Background(), 0, soon(), &img)
	good(t, &img, point.Exhaust, 1010)
	if len(p.gaps) != 1 || p.gaps[0] < 3500*time.Microsecond {
		t.Errorf("silences %v between frames, want one of at least 3.5 characters of 1 ms", p.gaps)
	}
}

// 8 + 7 bytes and two pauses take 22 ms here: a second request would not be
// over within the scan, and its late reply would spoil the next.
func TestRTUStartsNothingThatCannotEnd(t *testing.T) {
	f, p := answering(t, newMachine().rtu("/dev/none").
		input(point.Bean, onUnit(1, plain(0, 10))).input(point.Exhaust, onUnit(2, plain(0, 10))))
	for n := range 4 {
		var img point.Image
		f.Read(context.Background(), 0.1*float64(n), time.Now().Add(20*time.Millisecond), &img)
	}
	// A scan that the test machine held up asks nothing at all.
	for i, u := range p.units {
		if want := byte(1 + i%2); u != want {
			t.Errorf("asked units %v, want each scan to ask one, in turn", p.units)
			break
		}
	}
	if len(p.units) > 4 || len(p.units) == 0 {
		t.Errorf("%d requests in 4 scans, want one in each", len(p.units))
	}
}

// A peer that holds a connection but never answers on it is left for a new one.
func TestTCPDeadConnectionIsReplaced(t *testing.T) {
	s := newScript(t)
	var mu sync.Mutex
	dead := ""
	s.behave(func(x *exchange) {
		mu.Lock()
		defer mu.Unlock()
		from := x.conn.RemoteAddr().String()
		if dead == "" {
			dead = from
		}
		if from != dead {
			faithful(x)
		}
	})
	m := newMachine().tcp(s.address).input(point.Bean, plain(0, 10))
	m.BusList[0].TimeoutS = 0.04
	f := m.open(t)
	n := 0
	eventually(t, "answer on a new connection", func() bool {
		n++
		img := m.scan(f, 0.1*float64(n))
		return img.In[point.Bean].Quality == point.Good
	})
	if c := f.Stats().Buses[0].Connections; c < 2 {
		t.Errorf("%d connections", c)
	}
}

// A unit that drives a heater is probed at least every second of scan time.
func TestHeatUnitsAreProbedSooner(t *testing.T) {
	m := newMachine().tcp("127.0.0.1:1").
		output(point.AirHeaterPower, onUnit(1, plain(0, 1))).output(point.DrumSpeed, onUnit(2, plain(0, 1)))
	m.BusList[0].BackoffS = 5
	f := m.open(t)
	got := []uint64{f.buses[0].units[0].longest, f.buses[0].units[1].longest}
	if want := []uint64{10, 50}; !slices.Equal(got, want) { // scans of 0.1 s
		t.Errorf("longest pauses %v scans, want %v", got, want)
	}
}

package fieldbus

import (
	"context"
	"errors"
	"math"
	"slices"
	"testing"

	"drumwright/io/point"
	"drumwright/safety"
)

// everything is an unpacked permit that covers all outputs, all at 0.
func everything() orders {
	var o orders
	for i := range o.covers {
		o.covers[i] = true
	}
	return o
}

func bitOf(address uint16, bit int8) point.Access {
	a := number(0, point.Holding, address)
	a.Type, a.Bit, a.Scale = point.Uint16, bit, 1
	return a
}

func write(t *testing.T, f *Fieldbus, o orders) {
	t.Helper()
	if err := f.order(context.Background(), soon(), o); err != nil {
		t.Fatal(err)
	}
}

func asked(t *testing.T, p *peer, want ...string) {
	t.Helper()
	if got := p.took(); !slices.Equal(got, want) {
		t.Errorf("requests %q, want %q", got, want)
	}
}

// fullMachine has every output that takes part in the order of writes.
func fullMachine(p *peer) *builder {
	return newMachine().tcp(p.address).
		output(point.DrumRun, contact(0, point.Coil, 1)).
		output(point.BlowerRun, contact(0, point.Coil, 2)).
		output(point.HeatEnable, contact(0, point.Coil, 3)).
		output(point.AirHeaterPower, number(0, point.Holding, 10)).
		output(point.RadiantPower, number(0, point.Holding, 20)).
		output(point.Heartbeat, contact(0, point.Coil, 4))
}

func TestWritesCoolFirstAndHeatLast(t *testing.T) {
	p := newPeer(t)
	f := fullMachine(p).open(t)
	o := everything()
	write(t, f, o) // everything off
	asked(t, p, "write holding u1 10+1", "write holding u1 20+1", "write coil u1 3+1", "write coil u1 2+1", "write coil u1 1+1", "write coil u1 4+1")

	o.value[point.DrumRun], o.value[point.BlowerRun], o.value[point.HeatEnable], o.value[point.Heartbeat] = 1, 1, 1, 1
	o.value[point.AirHeaterPower], o.value[point.RadiantPower] = 50, 50
	write(t, f, o) // everything on
	asked(t, p, "write coil u1 2+1", "write coil u1 1+1", "write coil u1 3+1", "write holding u1 10+1", "write holding u1 20+1", "write coil u1 4+1")

	write(t, f, o) // nothing changed
	asked(t, p)

	o.value[point.AirHeaterPower], o.value[point.RadiantPower], o.value[point.BlowerRun] = 60, 40, 0
	write(t, f, o)
	asked(t, p, "write holding u1 20+1", "write coil u1 2+1", "write holding u1 10+1")
}

func TestOnlyIssuedPermitsAreWritten(t *testing.T) {
	p := newPeer(t)
	f := fullMachine(p).open(t)
	if err := f.Write(context.Background(), soon(), &safety.Permit{}); !errors.Is(err, ErrNotIssued) {
		t.Errorf("%v, want %v", err, ErrNotIssued)
	}
	asked(t, p)
	off := safety.HeatOff()
	if err := f.Write(context.Background(), soon(), &off); err != nil {
		t.Fatal(err)
	}
	asked(t, p, "write holding u1 10+1", "write holding u1 20+1", "write coil u1 3+1")
}

func TestPackedBitsAreWrittenAsOneWord(t *testing.T) {
	p := newPeer(t)
	inverted := bitOf(50, 3)
	inverted.Inverted = true
	swapped := bitOf(60, 0)
	swapped.Order = point.BADC
	f := newMachine().tcp(p.address).
		output(point.DrumRun, bitOf(50, 0)).output(point.BlowerRun, bitOf(50, 15)).
		output(point.Stirrer, inverted).output(point.Horn, swapped).open(t)
	o := everything()
	o.value[point.BlowerRun] = 1
	write(t, f, o)
	asked(t, p, "write holding u1 50+1", "write holding u1 60+1")
	if p.holding[50] != 0x8008 || p.holding[60] != 0 {
		t.Errorf("words %04x %04x", p.holding[50], p.holding[60])
	}
	o.value[point.DrumRun], o.value[point.Stirrer], o.value[point.Horn] = 1, 1, 1
	write(t, f, o)
	if p.holding[50] != 0x8001 || p.holding[60] != 0x0100 {
		t.Errorf("words %04x %04x", p.holding[50], p.holding[60])
	}
}

// HeatOff at start meets a word that holds the contactor and the running drum.
func TestHeatOffLeavesTheOtherBitsOfItsWord(t *testing.T) {
	p := newPeer(t)
	m := newMachine().tcp(p.address).output(point.DrumRun, bitOf(50, 0)).output(point.HeatEnable, bitOf(50, 1))
	p.holding[50] = 0b11
	f := m.open(t)
	off := ordersOf(ptr(safety.HeatOff()))
	write(t, f, off)
	asked(t, p, "holding u1 50+1", "write holding u1 50+1")
	if p.holding[50] != 0b01 {
		t.Errorf("word %02b, want the drum on and the contactor off", p.holding[50])
	}
	o := everything()
	o.value[point.DrumRun], o.value[point.HeatEnable] = 1, 1
	write(t, f, o)
	write(t, f, off)
	if p.holding[50] != 0b01 {
		t.Errorf("word %02b, want the drum on and the contactor off", p.holding[50])
	}
}

func ptr[T any](v T) *T { return &v }

func TestSpanIsWrittenWhole(t *testing.T) {
	p := newPeer(t)
	a := number(0, point.Holding, 70)
	a.SpanWords = 3
	b := number(0, point.Holding, 71)
	f := newMachine().tcp(p.address).output(point.DrumSpeed, a).output(point.BlowerSpeed, b).open(t)
	o := everything()
	o.value[point.DrumSpeed], o.value[point.BlowerSpeed] = 30, 40
	write(t, f, o)
	asked(t, p, "write holding u1 70+3")
	if p.holding[70] != 300 || p.holding[71] != 400 || p.holding[72] != 0 {
		t.Errorf("registers %v", p.holding)
	}
}

func TestValuesAreClampedAndDeadBandIsZero(t *testing.T) {
	for _, c := range []struct {
		v    float64
		want uint16
		bad  bool
	}{{30, 300, false}, {70, 600, false}, {4.9, 0, false}, {5, 50, false}, {-3, 0, false}, {0, 0, false}, {math.NaN(), 250, true}, {math.Inf(1), 250, true}} {
		p := newPeer(t)
		a := number(0, point.Holding, 70)
		a.Min, a.Max = 0, 60
		m := newMachine().tcp(p.address).output(point.DrumSpeed, a)
		m.DeadHz[point.DrumSpeed] = 5
		f := m.open(t)
		o := everything()
		o.value[point.DrumSpeed] = 25
		write(t, f, o)
		o.value[point.DrumSpeed] = c.v
		err := f.order(context.Background(), soon(), o)
		if bad := err != nil; bad != c.bad || p.holding[70] != c.want {
			t.Errorf("%v: wrote %d, %v; want %d", c.v, p.holding[70], err, c.want)
		}
	}
}

func TestUnsendableHeatGoesOff(t *testing.T) {
	p := newPeer(t)
	f := fullMachine(p).open(t)
	o := everything()
	o.value[point.AirHeaterPower] = 50
	write(t, f, o)
	o.value[point.AirHeaterPower] = math.NaN()
	err := f.order(context.Background(), soon(), o)
	var we *WriteError
	if !errors.As(err, &we) || we.Outputs[point.AirHeaterPower] == nil || we.Outputs[point.RadiantPower] != nil {
		t.Errorf("error %v", err)
	}
	if p.holding[10] != 0 {
		t.Errorf("heater at %d", p.holding[10])
	}
}

func TestRefreshWritesAgain(t *testing.T) {
	p := newPeer(t)
	a := number(0, point.Holding, 70)
	a.RefreshScans = 3
	f := newMachine().tcp(p.address).output(point.DrumSpeed, a).open(t)
	n := 0
	for range 10 {
		write(t, f, everything())
		n += len(p.took())
	}
	if n != 4 { // scans 1, 4, 7, 10
		t.Errorf("%d writes in 10 scans, want 4", n)
	}
}

func TestRefusedOutputIsTriedAgain(t *testing.T) {
	p := newPeer(t)
	f := fullMachine(p).open(t)
	p.set(func() { p.refuse[10] = true })
	for range 2 {
		err := f.order(context.Background(), soon(), everything())
		var we *WriteError
		if !errors.As(err, &we) || we.Outputs[point.AirHeaterPower] == nil || we.Outputs[point.DrumRun] != nil {
			t.Fatalf("error %v", err)
		}
	}
	if u := f.Stats().Buses[0].Units[0]; u.Errors[Exception] != 2 || u.Silent {
		t.Errorf("stats %+v", u)
	}
	p.set(func() { p.refuse = map[uint16]bool{} })
	p.took()
	write(t, f, everything())
	asked(t, p, "write holding u1 10+1")
}

// A device that was away may have lost its outputs.
func TestOutputsAreWrittenAgainAfterARestart(t *testing.T) {
	p := newPeer(t)
	f := fullMachine(p).open(t)
	o := everything()
	o.value[point.DrumRun] = 1
	write(t, f, o)
	p.server.Stop()
	p.set(func() { p.coils = map[uint16]bool{} })
	p.start(t)
	eventually(t, "write after the restart", func() bool { return f.order(context.Background(), soon(), o) == nil && p.drumRuns() })
	p.took()
	write(t, f, o)
	asked(t, p)
}

func (p *peer) drumRuns() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.coils[1]
}

// A joined read that the device refuses is split once; the refused point alone
// stays bad.
func TestRefusedJoinIsSplit(t *testing.T) {
	p := newPeer(t)
	m := newMachine().tcp(p.address)
	for i, role := range []point.Input{point.Bean, point.InletAir, point.Exhaust} {
		m.input(role, number(0, point.Holding, uint16(10+2*i)))
		p.holding[uint16(10+2*i)] = uint16(100 * (i + 1))
	}
	p.refuse[13] = true
	f := m.open(t)
	img := m.scan(f, 0)
	if v := img.In[point.Bean]; v.Quality != point.Bad || v.Cause != point.Refused {
		t.Errorf("first scan %+v", v)
	}
	for i := range 2 {
		img = m.scan(f, 0.1)
		good(t, &img, point.Bean, 10)
		good(t, &img, point.InletAir, 20)
		good(t, &img, point.Exhaust, 30)
		if i == 0 {
			asked(t, p, "holding u1 10+5", "holding u1 10+1", "holding u1 12+1", "holding u1 14+1")
		} else {
			asked(t, p, "holding u1 10+1", "holding u1 12+1", "holding u1 14+1")
		}
	}
}

// Reads that fail must not keep outputs from being written.
func TestReadFailuresDoNotBlockWrites(t *testing.T) {
	s := newScript(t)
	m := newMachine().tcp(s.address).input(point.Bean, number(0, point.Holding, 10)).
		output(point.AirHeaterPower, number(0, point.Holding, 50))
	m.BusList[0].TimeoutS = 0.025
	f := m.open(t)
	s.behave(func(x *exchange) {
		if x.request[7] == 6 {
			faithful(x)
		}
	})
	n := 0
	eventually(t, "twenty writes", func() bool {
		m.scan(f, 0.1*float64(n))
		o := everything()
		o.value[point.AirHeaterPower] = float64(n % 100)
		if f.order(context.Background(), soon(), o) == nil {
			n++
		}
		return n == 20
	})
}

package fieldbus

import (
	"context"
	"errors"
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

// writes counts the requests that wrote something.
func (p *peer) writes() (n int) {
	p.set(func() {
		for _, l := range p.log {
			if strings.HasPrefix(l, "w") {
				n++
			}
		}
	})
	return n
}

func withIdentity(p *peer, is float64) *builder {
	serialNo := plain(0, 90)
	serialNo.Type, serialNo.EveryScans, serialNo.Max = point.Uint32, 10, 1<<32
	m := newMachine().tcp(p.address).
		input(point.Bean, number(0, point.Holding, 20)).
		output(point.DrumSpeed, number(0, point.Holding, 100)).
		output(point.AirHeaterPower, number(0, point.Holding, 101)).
		output(point.HeatEnable, contact(0, point.Coil, 8))
	m.Constants = []profiles.Constant{{Access: serialNo, Is: is, Name: "unit 1"}}
	p.holding[90], p.holding[91] = 0x0012, 0x3456
	return m
}

const serialNo = 0x00123456

// A device that names another number is never written to, not even heat off, by
// whatever way and however often.
func TestNothingIsWrittenToAForeignDevice(t *testing.T) {
	for range 25 {
		p := newPeer(t)
		m := withIdentity(p, 0x34560012) // as with the words the wrong way round
		f := m.open(t)
		if err := f.HeatOff(context.Background()); !errors.Is(err, errForeign) {
			t.Errorf("HeatOff: %v", err)
		}
		off, some := safety.HeatOff(), everything()
		some.value[point.DrumSpeed] = 30
		for i := range 4 {
			if err := f.Write(context.Background(), soon(), &off); !isForeign(err, point.HeatEnable) {
				t.Errorf("scan %d, heat off: %v", i, err)
			}
			m.scan(f, float64(i))
			if err := f.order(context.Background(), soon(), some); !isForeign(err, point.DrumSpeed) {
				t.Errorf("scan %d: %v", i, err)
			}
		}
		if n := p.writes(); n != 0 {
			t.Fatalf("%d writes to a foreign device", n)
		}
	}
}

func isForeign(err error, o point.Output) bool {
	var e *WriteError
	return errors.As(err, &e) && errors.Is(e.Outputs[o], errForeign)
}

// The right device is written to; when another takes its place in running, heat
// must still go off, and the image shows who answers.
func TestTheRightDeviceIsWrittenTo(t *testing.T) {
	p := newPeer(t)
	m := withIdentity(p, serialNo)
	m.HasBack[point.DrumSpeed], m.Back[point.DrumSpeed] = true, m.Out[point.DrumSpeed]
	f := m.open(t)
	off := safety.HeatOff()
	if err := f.HeatOff(context.Background()); err != nil {
		t.Fatal(err)
	}
	if err := f.Write(context.Background(), soon(), &off); err != nil {
		t.Fatal(err)
	}
	img := m.scan(f, 0)
	if x := img.Known[0]; x.Quality != point.Good || x.V != serialNo {
		t.Errorf("identity %+v", x)
	}
	some := everything()
	some.value[point.DrumSpeed] = 30
	if err := f.order(context.Background(), soon(), some); err != nil {
		t.Fatal(err)
	}
	if img = m.scan(f, 0.1); img.Back[point.DrumSpeed].V != 30 || img.Back[point.DrumSpeed].Quality != point.Good || img.Back[point.AirHeaterPower].Quality != point.Absent {
		t.Errorf("read back %+v", img.Back)
	}
	p.set(func() { p.holding[90], p.holding[101], p.holding[100] = 1, 500, 77 })
	for i := range 10 {
		img = m.scan(f, 0.2+0.1*float64(i))
	}
	if img.Known[0].V == serialNo || img.Back[point.DrumSpeed].V != 7.7 {
		t.Errorf("identity %+v, read back %+v", img.Known[0], img.Back[point.DrumSpeed])
	}
	if err := f.HeatOff(context.Background()); err != nil {
		t.Errorf("heat off to a device that was right before: %v", err)
	}
	p.set(func() {
		if p.holding[101] != 0 {
			t.Error("heat stays on")
		}
	})
}

// A unit that does not say what it is gets heat off and nothing else.
func TestHeatOffGoesToADeviceThatDoesNotNameItself(t *testing.T) {
	p := newPeer(t)
	m := withIdentity(p, serialNo)
	p.refuse[90], p.holding[101] = true, 500
	f := m.open(t)
	off, some := safety.HeatOff(), everything()
	some.value[point.DrumSpeed] = 30
	if err := f.Write(context.Background(), soon(), &off); err != nil {
		t.Errorf("heat off: %v", err)
	}
	m.scan(f, 0)
	err := f.order(context.Background(), soon(), some)
	var e *WriteError
	if !errors.As(err, &e) || !errors.Is(e.Outputs[point.DrumSpeed], errUnseen) {
		t.Errorf("drum: %v", err)
	}
	p.set(func() {
		if p.holding[101] != 0 || p.holding[100] != 0 {
			t.Errorf("holding %v", p.holding)
		}
	})
}

// What could not be turned off at the start is tried again by the scans, although
// the unit still does not say what it is.
func TestScansTurnHeatOffInADeviceThatDoesNotNameItself(t *testing.T) {
	p := newPeer(t)
	m := withIdentity(p, serialNo)
	p.refuse[90], p.holding[101], p.coils[8] = true, 500, true
	f := m.open(t)
	none := everything()
	for i := range 3 {
		m.scan(f, float64(i))
		_ = f.order(context.Background(), soon(), none)
	}
	p.set(func() {
		if p.holding[101] != 0 || p.coils[8] {
			t.Errorf("heat stays on: holding %v, coils %v", p.holding, p.coils)
		}
	})
	some := everything()
	some.value[point.AirHeaterPower] = 0.4
	if err := f.order(context.Background(), soon(), some); err == nil {
		t.Error("heat is turned up in a device that does not name itself")
	}
	p.set(func() {
		if p.holding[101] != 0 || p.holding[100] != 0 {
			t.Errorf("holding %v", p.holding)
		}
	})
}

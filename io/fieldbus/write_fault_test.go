package fieldbus

import (
	"context"
	"errors"
	"testing"
	"time"

	"drumwright/io/point"
	"drumwright/safety"
)

func TestWriteFaults(t *testing.T) {
	for _, c := range []struct {
		name string
		act  func(*exchange)
	}{
		{"silent", silent},
		{"echo of another value", changed(11, func(b byte) byte { return b + 1 })},
		{"echo of another address", changed(9, func(b byte) byte { return b + 1 })},
		{"cut short", short},
		{"exception", exception(3)},
		{"reset", reset},
		{"garbage", garbage},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := newScript(t)
			m := newMachine().tcp(s.address).output(point.AirHeaterPower, number(0, point.Holding, 50))
			m.BusList[0].TimeoutS = 0.05
			f := m.open(t)
			o := everything()
			o.value[point.AirHeaterPower] = 50
			eventually(t, "first write", func() bool { return f.order(context.Background(), soon(), o) == nil })
			o.value[point.AirHeaterPower] = 40
			s.behave(c.act)
			for range 2 {
				err := f.order(context.Background(), soon(), o)
				var we *WriteError
				if !errors.As(err, &we) || we.Outputs[point.AirHeaterPower] == nil {
					t.Errorf("write error %v", err)
				}
			}
			// Back to the value last acknowledged: the device may hold the other.
			o.value[point.AirHeaterPower] = 50
			s.behave(faithful)
			before := s.requests()
			eventually(t, "write after the fault", func() bool {
				return f.order(context.Background(), soon(), o) == nil && s.requests() > before
			})
		})
	}
}

func (s *script) requests() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.n
}

// A unit that does not answer a read may have been off: its outputs are sent
// again though nothing has changed and the connection stands.
func TestSilenceMakesOutputsBeWrittenAgain(t *testing.T) {
	s := newScript(t)
	m := newMachine().tcp(s.address).input(point.Bean, plain(0, 10)).output(point.AirHeaterPower, number(0, point.Holding, 50))
	m.BusList[0].TimeoutS = 0.1
	f := m.open(t)
	eventually(t, "first write", func() bool { return f.order(context.Background(), soon(), everything()) == nil })
	write(t, f, everything())
	s.behave(silent)
	m.scan(f, 0)
	s.behave(faithful)
	before := s.requests()
	write(t, f, everything())
	if n := s.requests() - before; n != 1 || !f.Stats().Buses[0].Connected {
		t.Errorf("%d requests, want the output once", n)
	}
}

// At stop there is no next scan: HeatOff is repeated within its time, over a
// server that comes back only then and to a unit that was taken for dead.
func TestHeatOffInsists(t *testing.T) {
	s := newScript(t)
	m := newMachine().tcp(s.address).input(point.Bean, plain(0, 10)).output(point.AirHeaterPower, number(0, point.Holding, 50))
	m.BusList[0].TimeoutS, m.BusList[0].BackoffS = 0.02, 0.1
	f := m.open(t)
	s.behave(silent)
	n := 0
	eventually(t, "dead unit", func() bool {
		n++
		m.scan(f, 0.1*float64(n))
		return f.Stats().Buses[0].Units[0].Silent
	})
	before := s.requests()
	s.behave(func(x *exchange) {
		if x.n > before+4 {
			faithful(x)
		}
	})
	off := safety.HeatOff()
	if err := f.Write(context.Background(), time.Now().Add(5*time.Second), &off); err != nil {
		t.Error(err)
	}
	s.stop()
	begin := time.Now()
	if err := f.Write(context.Background(), begin.Add(60*time.Millisecond), &off); err == nil {
		f.buses[0].forget(nil)
	}
	if err := f.Write(context.Background(), time.Now().Add(60*time.Millisecond), &off); err == nil {
		t.Error("acknowledged by a server that is away")
	}
	if d := time.Since(begin); d > 2*time.Second {
		t.Errorf("took %v", d)
	}
}

package fieldbus

import (
	"context"
	"encoding/binary"
	"testing"

	"drumwright/io/point"
	"drumwright/profiles"
)

// several is a scan of six groups, four requests in flight, to a server that does
// as told with each. It remembers which request asked last for which group.
type several struct {
	*script
	m      *builder
	f      *Fieldbus
	waits  []*exchange // replies kept back, under the script's lock
	lastOf map[uint16]int
}

const severalGroups = 6

func newSeveral(t *testing.T, timeoutS float64) *several {
	s := &several{script: newScript(t), lastOf: map[uint16]int{}}
	s.m = newMachine().tcp(s.address)
	bus := &s.m.BusList[0].BusFile
	bus.InFlight, bus.Retries = 4, 0
	bus.TimeoutS = profiles.Seconds(timeoutS)
	for k := range severalGroups {
		s.m.input(point.Input(k), plain(0, uint16(100*k)))
	}
	s.does(faithful)
	s.f = s.m.open(t)
	if err := s.f.Open(context.Background()); err != nil {
		t.Fatal(err)
	}
	return s
}

func (s *several) does(act func(*exchange)) {
	s.behave(func(x *exchange) {
		s.mu.Lock()
		s.lastOf[binary.BigEndian.Uint16(x.request[8:])] = x.n
		s.mu.Unlock()
		act(x)
	})
}

// scanned is how many groups have a good value; a good one that the last request
// for it did not bring is a failure.
func (s *several) scanned(t *testing.T, nowS float64) int {
	t.Helper()
	var img point.Image
	s.f.Read(context.Background(), nowS, soon(), &img)
	n := 0
	s.mu.Lock()
	defer s.mu.Unlock()
	for k := range severalGroups {
		if v := img.In[k]; v.Quality == point.Good {
			n++
			if want := valueOf(100*k, s.lastOf[uint16(100*k)]); v.V != want {
				t.Errorf("group %d: %v accepted, the device said %v", k, v.V, want)
			}
		}
	}
	return n
}

func TestRepliesInFlight(t *testing.T) {
	only := func(n int, act func(*exchange)) func(*exchange) {
		return func(x *exchange) {
			if binary.BigEndian.Uint16(x.request[8:]) == uint16(100*n) {
				act(x)
			} else {
				faithful(x)
			}
		}
	}
	for _, c := range []struct {
		name     string
		timeoutS float64
		act      func(*exchange)
		good     int // groups with a good value, at least
		most     int
	}{
		{"each at once", 2, faithful, 6, 6},
		{"each twice", 2, twice, 6, 6},
		{"byte by byte", 2, byteByByte, 6, 6},
		{"one refused", 2, only(1, exception(4)), 5, 5},
		{"one silent", 0.1, only(1, silent), 3, 5}, // the rest of its four, at least
		{"one late by one", 0.1, only(1, late), 3, 5},
		{"one of another unit", 2, only(3, changed(6, func(byte) byte { return 9 })), 3, 5},
		{"one with fewer registers", 2, only(0, fewer), 0, 5},
		{"id of no request", 2, only(0, changed(0, func(b byte) byte { return b + 0x70 })), 0, 5},
		{"reset", 2, only(2, reset), 0, 5},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			s := newSeveral(t, c.timeoutS)
			if n := s.scanned(t, 0); n != severalGroups {
				t.Fatalf("%d groups before the fault", n)
			}
			s.does(c.act)
			for i := range 2 {
				if n := s.scanned(t, 0.1+0.1*float64(i)); i == 0 && (n < c.good || n > c.most) {
					t.Errorf("%d groups with a good value, want %d to %d", n, c.good, c.most)
				}
			}
			s.does(faithful)
			now := 1.0
			eventually(t, "recovery", func() bool { now += 1; return s.scanned(t, now) == severalGroups })
		})
	}
}

// Four requests come before the first reply goes out, and the replies go out in
// the opposite order: the device sees what is in flight, and the ids tell.
func TestFourAreInFlightAndAnswersMayComeInAnyOrder(t *testing.T) {
	s := newSeveral(t, 2)
	batch := 0
	s.does(func(x *exchange) {
		s.mu.Lock()
		defer s.mu.Unlock()
		if s.waits = append(s.waits, x); len(s.waits) < min(4, severalGroups-batch) {
			return
		}
		for i := len(s.waits) - 1; i >= 0; i-- {
			faithful(s.waits[i])
		}
		batch = (batch + len(s.waits)) % severalGroups
		s.waits = nil
	})
	for i := range 3 {
		if n := s.scanned(t, 0.1*float64(i)); n != severalGroups {
			t.Fatalf("%d groups with a good value", n)
		}
	}
	if u := s.f.Stats().Buses[0].Units[0]; u.Requests != 3*severalGroups {
		t.Errorf("%d requests for 3 scans of %d groups", u.Requests, severalGroups)
	}
}

// A device that takes one request at a time and drops the rest is set right by
// in_flight: 1; until then its values are missing, never wrong.
func TestDeviceThatDropsWhatIsInFlight(t *testing.T) {
	s := newSeveral(t, 0.05)
	s.does(func(x *exchange) {
		if binary.BigEndian.Uint16(x.request)%4 == 1 {
			faithful(x)
		}
	})
	if n := s.scanned(t, 0); n == 0 || n == severalGroups {
		t.Errorf("%d groups with a good value", n)
	}
	s.f.buses[0].inFlight = 1
	s.does(faithful)
	now := 0.0
	eventually(t, "all values with one in flight", func() bool { now += 1; return s.scanned(t, now) == severalGroups })
}

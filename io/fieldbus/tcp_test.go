package fieldbus

import (
	"context"
	"errors"
	"testing"
	"time"

	"drumwright/io/point"
	"drumwright/profiles"
)

const (
	brief   = 25 * time.Millisecond
	patient = 2 * time.Second
)

// scripted is a machine with two devices on two buses: bus 0 is the one that
// fails, bus 1 is sound.
//
// The time-out of bus 0 is short where a fault shows by silence; everywhere
// else time-outs are long, so that a busy test machine is not taken for a fault.
func scripted(t *testing.T, timeout time.Duration) (faulty, sound *script, m *builder, f *Fieldbus) {
	t.Helper()
	faulty, sound = newScript(t), newScript(t)
	m = newMachine().tcp(faulty.address).tcp(sound.address)
	m.BusList[0].TimeoutS = profiles.Seconds(timeout.Seconds())
	m.BusList[1].TimeoutS = profiles.Seconds(patient.Seconds())
	m.input(point.Bean, plain(0, 10)).input(point.InletAir, plain(0, 13)).input(point.Exhaust, plain(1, 20))
	return faulty, sound, m, m.open(t)
}

// valueOf is what register address holds at a device's n-th request.
func valueOf(address, n int) float64 { return float64(uint16(address + 1000*n)) }

// check demands that no value is good unless it is the device's answer to its
// latest request, and that the sound bus is not touched by the other's faults.
func check(t *testing.T, name string, faulty, sound *script, img *point.Image) (ok bool) {
	t.Helper()
	n := func(s *script) int {
		s.mu.Lock()
		defer s.mu.Unlock()
		return s.n
	}
	ok = true
	for role, address := range map[point.Input]int{point.Bean: 10, point.InletAir: 13} {
		v := img.In[role]
		if v.Quality != point.Good {
			ok = false
			if v.Cause == point.None {
				t.Errorf("%s: %s %+v has no cause", name, role, v)
			}
			continue
		}
		if want := valueOf(address, n(faulty)); v.V != want || v.AgeS != 0 {
			t.Errorf("%s: %s = %+v accepted as good, the device says %v", name, role, v, want)
		}
	}
	if v := img.In[point.Exhaust]; v.Quality != point.Good || v.V != valueOf(20, n(sound)) {
		t.Errorf("%s: sound bus gives %+v", name, v)
	}
	return ok
}

func eventually(t *testing.T, what string, ok func() bool) {
	t.Helper()
	for until := time.Now().Add(5 * time.Second); !ok(); {
		if time.Now().After(until) {
			t.Fatalf("no %s within 5 s", what)
		}
	}
}

func TestTCPFaults(t *testing.T) {
	for _, c := range []struct {
		name  string
		act   func(*exchange)
		works bool // a correct value can be had in spite of it
		cause point.Cause
	}{
		{"silent", silent, false, point.Timeout},
		{"late by one", late, false, point.Timeout},
		{"late by one, then the right one", lateThenFresh, true, 0},
		{"every reply twice", twice, true, 0},
		{"byte by byte", byteByByte, true, 0},
		{"in two parts", inTwoParts, true, 0},
		{"cut short", short, false, point.Timeout},
		{"fewer registers", fewer, false, point.WrongReply},
		{"more registers", more, false, point.WrongReply},
		{"garbage first", garbage, false, point.WrongReply},
		{"three zeros first", zeros, false, point.WrongReply},
		{"transaction id ahead", changed(1, func(b byte) byte { return b + 1 }), false, point.WrongReply},
		{"wrong protocol id", changed(3, func(byte) byte { return 1 }), false, point.WrongReply},
		{"wrong unit", changed(6, func(byte) byte { return 9 }), false, point.WrongReply},
		{"wrong function", changed(7, func(byte) byte { return 4 }), false, point.WrongReply},
		{"wrong byte count", changed(8, func(b byte) byte { return b - 2 }), false, point.WrongReply},
		{"exception 4", exception(4), false, point.Refused},
		{"exception 11 of a gateway", exception(11), false, point.Timeout},
		{"exception too long", longException, false, point.WrongReply},
		{"reset", reset, false, point.BusDown},
		{"half-close", halfClose, false, point.BusDown},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			timeout := patient
			if c.cause == point.Timeout {
				timeout = brief
			}
			faulty, sound, m, f := scripted(t, timeout)
			now := 0.0
			scan := func() (point.Image, bool) {
				img := m.scan(f, now)
				now += 0.1
				return img, check(t, c.name, faulty, sound, &img)
			}
			var last float64
			eventually(t, "a good value before the fault", func() bool {
				img, ok := scan()
				last = img.In[point.Bean].V
				return ok
			})
			faulty.behave(c.act)
			for i := range 4 {
				img, ok := scan()
				if ok != c.works {
					t.Errorf("scan %d with fault: good = %v, want %v: %+v", i, ok, c.works, img.In[point.Bean])
				}
				if i == 0 && !ok {
					if v := img.In[point.Bean]; v.Quality != point.Uncertain || v.Cause != c.cause || v.V != last || v.AgeS == 0 {
						t.Errorf("first scan with fault: %+v, want the last value, uncertain, cause %q", v, c.cause)
					}
				}
			}
			faulty.behave(faithful)
			for range 2 {
				eventually(t, "recovery", func() bool { _, ok := scan(); return ok })
			}
		})
	}
}

// A server that answers a little slower than the time-out must never get a
// reply accepted for the wrong request, and counts as time-out.
func TestTCPSlowReplyIsNotTakenForTheNext(t *testing.T) {
	faulty, sound, m, f := scripted(t, brief)
	slow := make(chan *exchange, 100)
	faulty.behave(func(x *exchange) { slow <- x })
	for i := range 6 {
		img := m.scan(f, 0.1*float64(i))
		check(t, "slow", faulty, sound, &img)
		for len(slow) > 0 { // after the scan has given up
			x := <-slow
			x.conn.Write(x.reply)
		}
	}
	u := f.Stats().Buses[0].Units[0]
	if u.Errors[Timeout] == 0 || u.Errors[Reply]+u.Errors[CRC]+u.Errors[Exception] != 0 {
		t.Errorf("errors %v", u.Errors)
	}
}

func TestTCPServerRestarts(t *testing.T) {
	faulty, sound, m, f := scripted(t, patient)
	img := m.scan(f, 0)
	if !check(t, "before", faulty, sound, &img) {
		t.Fatal("no good value before")
	}
	faulty.stop()
	for i := range 3 {
		img = m.scan(f, 0.1+0.1*float64(i))
		if check(t, "away", faulty, sound, &img) {
			t.Error("good value from a server that is away")
		}
		if v := img.In[point.Bean]; v.Cause != point.BusDown {
			t.Errorf("cause %v, want bus down", v.Cause)
		}
	}
	if f.Stats().Buses[0].Connected {
		t.Error("still said to be connected")
	}
	faulty.listen(faulty.address)
	now := 0.4
	eventually(t, "good value from the restarted server", func() bool {
		img = m.scan(f, now)
		now += 0.1
		return check(t, "back", faulty, sound, &img)
	})
	if s := f.Stats().Buses[0]; !s.Connected || s.Connections != 2 {
		t.Errorf("stats %+v", s)
	}
}

// Age and quality by the rules, in scan seconds whatever the real time.
func TestValueAgesToBad(t *testing.T) {
	faulty, _, m, f := scripted(t, patient)
	m.scan(f, 0)
	faulty.stop()
	for _, c := range []struct {
		nowS float64
		want point.Quality
	}{{0.1, point.Uncertain}, {1, point.Uncertain}, {2, point.Uncertain}, {2.1, point.Bad}, {60, point.Bad}} {
		img := m.scan(f, c.nowS)
		if v := img.In[point.Bean]; v.Quality != c.want || v.AgeS != c.nowS || v.V != valueOf(10, 1) || v.Cause == point.None {
			t.Errorf("at %v s: %+v, want %v", c.nowS, v, c.want)
		}
	}
}

// A dial into nowhere must not hold the scan up.
func TestScanKeepsItsDeadlineWhileDialling(t *testing.T) {
	sound := newScript(t)
	m := newMachine().tcp(sound.address).tcp("127.0.0.1:9")
	m.input(point.Bean, number(1, point.Holding, 10)).input(point.Exhaust, number(0, point.Holding, 20))
	f := m.open(t)
	block := make(chan struct{})
	f.buses[1].line.(*tcpLine).opener.open = dialBlocked(block)
	for i := range 5 {
		deadline := time.Now().Add(100 * time.Millisecond)
		var img point.Image
		f.Read(context.Background(), 0.1*float64(i), deadline, &img)
		if late := time.Since(deadline); late > 100*time.Millisecond {
			t.Errorf("scan %d came back %v late", i, late)
		}
		if v := img.In[point.Exhaust]; v.Quality != point.Good {
			t.Errorf("the other bus gives %+v", v)
		}
		if v := img.In[point.Bean]; v.Quality != point.Bad || v.Cause != point.BusDown && i > 0 {
			t.Errorf("unreached bus gives %+v", v)
		}
	}
	close(block)
}

func TestCancelledContextEndsTheScan(t *testing.T) {
	_, sound, m, f := scripted(t, patient)
	m.scan(f, 0)
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	var img point.Image
	f.Read(ctx, 0.1, soon(), &img)
	if v := img.In[point.Exhaust]; v.Quality != point.Uncertain || sound.n != 1 {
		t.Errorf("after cancel: %+v, %d requests", v, sound.n)
	}
}

// dialBlocked is a dial that hangs until the channel is closed or it is given up.
func dialBlocked(block chan struct{}) func(context.Context) (stream, error) {
	return func(ctx context.Context) (stream, error) {
		select {
		case <-block:
		case <-ctx.Done():
		}
		return nil, errors.New("no route")
	}
}

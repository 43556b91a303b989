package fieldbus

import (
	"context"
	"errors"
	"math"
	"strings"
	"sync"
	"testing"
	"time"

	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

// A dead unit is asked in three scans, then 1, 2, 4, ... scans apart, up to the
// limit of the bus; the other unit on its bus is read in every scan.
func TestDeadUnitBacksOffAndStarvesNobody(t *testing.T) {
	s := newScript(t)
	var mu sync.Mutex
	dead, asked := true, 0
	s.behave(func(x *exchange) {
		mu.Lock()
		defer mu.Unlock()
		if x.request[6] == 1 {
			if asked++; dead {
				return
			}
		}
		faithful(x)
	})
	other := plain(0, 20)
	other.Unit = 2
	m := newMachine().tcp(s.address).input(point.Bean, plain(0, 10)).input(point.Exhaust, other)
	m.BusList[0].TimeoutS, m.BusList[0].BackoffS = 0.05, 0.8 // 8 scans
	f := m.open(t)
	var when []int
	const scans = 40
	missed := 0
	for n := 1; n <= scans; n++ {
		mu.Lock()
		before := asked
		mu.Unlock()
		img := m.scan(f, 0.1*float64(n))
		mu.Lock()
		if asked > before {
			when = append(when, n)
		}
		mu.Unlock()
		if img.In[point.Exhaust].Quality != point.Good {
			missed++
		}
	}
	want := []int{1, 2, 3, 4, 6, 10, 18, 26, 34}
	if missed == 0 && !equalInts(when, want) {
		t.Errorf("asked in scans %v, want %v", when, want)
	}
	if missed > scans/4 { // a busy test machine may miss one
		t.Errorf("the other unit missed %d of %d scans", missed, scans)
	}
	if u := f.Stats().Buses[0].Units[0]; !u.Silent || u.Consecutive == 0 || u.Errors[Timeout] == 0 {
		t.Errorf("stats %+v", u)
	}
	mu.Lock()
	dead = false
	mu.Unlock()
	n := scans
	eventually(t, "unit back", func() bool {
		n++
		img := m.scan(f, 0.1*float64(n))
		return img.In[point.Bean].Quality == point.Good
	})
	if u := f.Stats().Buses[0].Units[0]; u.Silent {
		t.Errorf("stats %+v", u)
	}
}

func equalInts(a, b []int) bool {
	if len(a) != len(b) {
		return false
	}
	for i := range a {
		if a[i] != b[i] {
			return false
		}
	}
	return true
}

// When the scan is too short for all groups, the next one goes on where it
// stopped.
func TestShortScansReadEveryGroupInTurn(t *testing.T) {
	s := newScript(t)
	s.behave(func(x *exchange) {
		<-time.After(4 * time.Millisecond)
		faithful(x)
	})
	m := newMachine().tcp(s.address)
	for role := range point.Input(10) {
		m.input(role, plain(0, 100*uint16(role)))
	}
	f := m.open(t)
	if err := f.Open(context.Background()); err != nil {
		t.Fatal(err)
	}
	seen := map[point.Input]bool{}
	scans := 0
	eventually(t, "read of every group", func() bool {
		var img point.Image
		f.Read(context.Background(), 0.1*float64(scans), time.Now().Add(15*time.Millisecond), &img)
		scans++
		for role, v := range img.In {
			if v.Quality == point.Good {
				seen[point.Input(role)] = true
			}
		}
		return len(seen) == 10
	})
	if scans < 3 {
		t.Errorf("%d scans were enough: the test does not test", scans)
	}
}

func TestSlowPointsKeepTheirRhythm(t *testing.T) {
	p := newPeer(t)
	slow := number(0, point.Holding, 500)
	slow.EveryScans = 30
	m := newMachine().tcp(p.address).input(point.Bean, number(0, point.Holding, 10)).input(point.Ambient, slow)
	p.holding[500] = 200
	f := m.open(t)
	reads := 0
	for n := range 60 {
		img := m.scan(f, 0.1*float64(n))
		v := img.In[point.Ambient]
		if v.Quality != point.Good || v.V != 20 || v.AgeS > 3.0001 {
			t.Errorf("scan %d: %+v", n, v)
		}
		if v.AgeS == 0 {
			reads++
		}
	}
	if reads != 3 { // the first scan, then every 30th
		t.Errorf("read %d times in 60 scans, want 3", reads)
	}
}

// The example of function 1 in the Modbus application protocol V1.1b3, section
// 6.1: coils 20 to 38, of which CD hex is 27 to 20, highest first, and 6B and
// 05 the rest (value from memory).
func TestCoilsOfThePublishedExample(t *testing.T) {
	m := newMachine().tcp("127.0.0.1:1")
	want := "1011001111010110101" // coil 20 first
	roles := []point.Input{}
	for i := range len(want) {
		role := point.Input(i)
		m.input(role, contact(0, point.Coil, uint16(19+i)))
		roles = append(roles, role)
	}
	f := m.open(t)
	b := f.buses[0]
	if len(b.groups) != 1 || b.groups[0].start != 19 || b.groups[0].end != 38 {
		t.Fatalf("groups %+v", b.groups)
	}
	b.decode(&b.groups[0], []byte{0xCD, 0x6B, 0x05}, 0)
	for i, role := range roles {
		if v := b.in[role].value; v.Quality != point.Good || v.On() != (want[i] == '1') {
			t.Errorf("coil %d: %+v, want %c", 20+i, v, want[i])
		}
	}
}

// A slow point is bad at its third miss in a row, not by the two seconds.
func TestReadingQuality(t *testing.T) {
	fresh := point.Value{V: 7, Quality: point.Good}
	slow, fast := newReading(3), newReading(0.1)
	slow.took(fresh, 0)
	fast.took(fresh, 0)
	at := func(r *reading, nowS float64, q point.Quality, c point.Cause) {
		t.Helper()
		if v := r.at(nowS); v.Quality != q || v.Cause != c || v.V != 7 || v.AgeS != nowS {
			t.Errorf("at %v s: %+v, want %v %q", nowS, v, q, c)
		}
	}
	at(&slow, 2.9, point.Good, point.None)
	slow.miss(point.Refused)
	at(&slow, 3, point.Uncertain, point.Refused)
	at(&slow, 6, point.Uncertain, point.Refused)
	at(&slow, 9, point.Bad, point.Refused)
	at(&fast, 0.9, point.Good, point.None)
	at(&fast, 1.1, point.Uncertain, point.Timeout) // nobody said why
	at(&fast, 2.1, point.Bad, point.Timeout)

	fast.took(point.Value{Quality: point.Bad, Cause: point.OpenProbe}, 3)
	at(&fast, 3, point.Bad, point.OpenProbe)
	fast.miss(point.Timeout) // a miss must not make it better
	at(&fast, 3.1, point.Bad, point.OpenProbe)
}

// stuckPort is a driver that does not come back from a read.
type stuckPort struct {
	fakePort
	release chan struct{}
}

func (p *stuckPort) Read([]byte) (int, error) {
	<-p.release
	return 0, errors.New("gone")
}

func TestStuckDriverHoldsUpNobody(t *testing.T) {
	s := newScript(t)
	m := newMachine().tcp(s.address).rtu("/dev/none").
		input(point.Exhaust, number(0, point.Holding, 20)).input(point.Bean, number(1, point.Holding, 10)).
		output(point.Horn, contact(1, point.Coil, 1))
	f := m.open(t)
	stuck := &stuckPort{release: make(chan struct{})}
	f.buses[1].line.(*rtuLine).opener.open = func(context.Context) (port, error) { return stuck, nil }
	if err := f.Open(context.Background()); err != nil {
		t.Fatal(err)
	}
	for n := range 3 {
		var img point.Image
		deadline := time.Now().Add(50 * time.Millisecond)
		f.Read(context.Background(), 0.1*float64(n), deadline, &img)
		if late := time.Since(deadline); late > time.Second {
			t.Errorf("scan came back %v late", late)
		}
		if v := img.In[point.Bean]; v.Quality != point.Bad || v.Cause != point.Timeout {
			t.Errorf("stuck bus gives %+v", v)
		}
	}
	off := everything()
	err := f.order(context.Background(), time.Now().Add(20*time.Millisecond), off)
	var we *WriteError
	if !errors.As(err, &we) || we.Outputs[point.Horn] == nil || !strings.Contains(err.Error(), "horn") {
		t.Errorf("write error %v", err)
	}
	close(stuck.release)
}

func TestStatsMayBeReadDuringAScan(t *testing.T) {
	p := newPeer(t)
	m := newMachine().tcp(p.address).tcp(p.address).
		input(point.Bean, number(0, point.Holding, 10)).input(point.Exhaust, number(1, point.Holding, 20))
	f := m.open(t)
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		for {
			select {
			case <-stop:
				return
			default:
				f.Stats()
				f.Transactions()
			}
		}
	})
	for n := range 50 {
		m.scan(f, float64(n))
	}
	close(stop)
	wg.Wait()
	if n := f.Transactions(); n != 100 {
		t.Errorf("%d transactions, want 100", n)
	}
}

func TestUseAfterClose(t *testing.T) {
	p := newPeer(t)
	m := newMachine().tcp(p.address).input(point.Bean, number(0, point.Holding, 10))
	f := m.open(t)
	m.scan(f, 0)
	if err := f.Close(); err != nil {
		t.Fatal(err)
	}
	off := safety.HeatOff()
	if err := f.Write(context.Background(), soon(), &off); !errors.Is(err, ErrClosed) {
		t.Errorf("%v", err)
	}
	if f.Stats().Buses[0].Connected {
		t.Error("connected after close")
	}
}

func TestNewRefusesWhatCannotBe(t *testing.T) {
	tooLong := number(0, point.Holding, 0)
	tooLong.SpanWords = 126
	atEnd := number(0, point.Holding, 65535)
	atEnd.Type = point.Float32
	broadcast := number(0, point.Holding, 0)
	broadcast.Unit = 0
	for _, c := range []struct {
		name string
		m    *builder
	}{
		{"126 registers in one", newMachine().tcp("127.0.0.1:1").input(point.Bean, tooLong)},
		{"beyond the table", newMachine().tcp("127.0.0.1:1").input(point.Bean, atEnd)},
		{"broadcast on a line", newMachine().rtu("/dev/none").input(point.Bean, broadcast)},
		{"output in a read-only table", newMachine().tcp("127.0.0.1:1").output(point.Horn, contact(0, point.DiscreteInput, 1))},
		{"output beyond the table", newMachine().tcp("127.0.0.1:1").output(point.Horn, atEnd)},
		{"neither tcp nor rtu", &builder{profiles.Machine{BusList: []profiles.Bus{{Name: "x"}}}}},
	} {
		if _, err := New(&c.m.Machine, nil); err == nil {
			t.Errorf("%s is accepted", c.name)
		}
	}
}

// The time of an RTU request: 8 + 25 bytes at 9600 baud and 11 bits a
// character are 37.8 ms, with two pauses of 3.5 characters 45.8 ms (computed
// from Modbus over serial line V1.02).
func TestPlan(t *testing.T) {
	m := newMachine().rtu("/dev/none")
	m.BusList[0].RTU.Baud = 9600
	wide := number(0, point.Holding, 100)
	wide.SpanWords = 10
	slow := number(0, point.Holding, 300)
	slow.EveryScans = 20
	m.input(point.Bean, wide).input(point.InletAir, number(0, point.Holding, 105)).input(point.Ambient, slow).
		output(point.DrumSpeed, number(0, point.Holding, 8))
	plan, err := Plan(&m.Machine)
	if err != nil || len(plan) != 3 {
		t.Fatalf("%+v, %v", plan, err)
	}
	r := plan[0]
	if r.Address != 100 || r.Count != 10 || r.Every != 1 || r.Write || len(r.Reads) != 2 ||
		math.Abs(r.EstimateS-rtuTurnaround.Seconds()-0.0458) > 0.0001 {
		t.Errorf("first request %+v", r)
	}
	if r := plan[1]; r.Address != 300 || r.Every != 20 || len(r.Reads) != 1 {
		t.Errorf("second request %+v", r)
	}
	if r := plan[2]; !r.Write || r.Address != 8 || len(r.Outputs) != 1 || r.Unit != 1 {
		t.Errorf("third request %+v", r)
	}
}

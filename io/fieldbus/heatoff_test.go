package fieldbus

import (
	"context"
	"errors"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"drumwright/io/point"
)

func within(t *testing.T, d time.Duration) context.Context {
	t.Helper()
	ctx, cancel := context.WithTimeout(context.Background(), d)
	t.Cleanup(cancel)
	return ctx
}

// Heaters before the contactor, each read back, and nothing else touched; the
// next Write brings everything to its permit again.
func TestHeatOffWritesAndReadsBack(t *testing.T) {
	p := newPeer(t)
	f := fullMachine(p).open(t)
	o := everything()
	o.value[point.DrumRun], o.value[point.HeatEnable], o.value[point.AirHeaterPower], o.value[point.RadiantPower] = 1, 1, 100, 100
	write(t, f, o)
	p.took()
	if err := f.HeatOff(within(t, 3*time.Second)); err != nil {
		t.Fatal(err)
	}
	asked(t, p, "write holding u1 10+1", "holding u1 10+1", "write holding u1 20+1", "holding u1 20+1", "write coil u1 3+1", "coil u1 3+1")
	if p.holding[10] != 0 || p.holding[20] != 0 || p.coils[3] || !p.coils[1] {
		t.Errorf("holding %v coils %v", p.holding, p.coils)
	}
	write(t, f, o)
	if p.holding[10] != 1000 || !p.coils[3] {
		t.Errorf("the next permit is not brought about: holding %v coils %v", p.holding, p.coils)
	}
}

func TestHeatOffApartLeavesTheOtherBitsOfItsWord(t *testing.T) {
	p := newPeer(t)
	f := newMachine().tcp(p.address).output(point.DrumRun, bitOf(50, 0)).output(point.HeatEnable, bitOf(50, 1)).open(t)
	p.holding[50] = 0b11
	if err := f.HeatOff(within(t, 3*time.Second)); err != nil {
		t.Fatal(err)
	}
	if p.holding[50] != 0b01 {
		t.Errorf("word %02b, want the drum on and the contactor off", p.holding[50])
	}
}

// A device whose outputs cannot be read has acknowledged them, and that does.
// One that refuses the write is named.
func TestHeatOffTellsWhatIsNotOff(t *testing.T) {
	s := newScript(t)
	s.behave(func(x *exchange) {
		switch {
		case x.request[7] == 3 || x.request[7] == 1:
			exception(1)(x)
		case x.request[9] == 20:
			exception(4)(x)
		default:
			faithful(x)
		}
	})
	f := newMachine().tcp(s.address).output(point.AirHeaterPower, number(0, point.Holding, 10)).
		output(point.RadiantPower, number(0, point.Holding, 20)).output(point.HeatEnable, contact(0, point.Coil, 3)).open(t)
	err := f.HeatOff(within(t, 3*time.Second))
	if err == nil || !strings.Contains(err.Error(), "radiant_power") || strings.Contains(err.Error(), "air_heater_power") || strings.Contains(err.Error(), "heat_enable") {
		t.Errorf("%v", err)
	}
	s.behave(faithful) // every register reads back as something else
	if err := f.HeatOff(within(t, 3*time.Second)); err == nil || !strings.Contains(err.Error(), "reads back as") {
		t.Errorf("%v", err)
	}
}

// A heater that does not answer does not keep the contactor of another device
// closed, and is tried until it does.
func TestHeatOffDoesNotWaitForTheDead(t *testing.T) {
	s := newScript(t)
	begin := time.Now()
	var mu sync.Mutex
	var opened time.Duration
	tries := 0
	s.behave(func(x *exchange) {
		mu.Lock()
		defer mu.Unlock()
		switch unit := x.request[6]; {
		case x.request[7] == 1 || x.request[7] == 3:
			exception(1)(x)
		case unit == 1:
			if tries++; tries > 3 {
				faithful(x)
			}
		default:
			if opened == 0 {
				opened = time.Since(begin)
			}
			faithful(x)
		}
	})
	elsewhere := contact(0, point.Coil, 3)
	elsewhere.Unit = 2
	m := newMachine().tcp(s.address).output(point.AirHeaterPower, number(0, point.Holding, 10)).output(point.HeatEnable, elsewhere)
	m.BusList[0].TimeoutS = 0.1
	f := m.open(t)
	begin = time.Now()
	if err := f.HeatOff(within(t, 3*time.Second)); err != nil {
		t.Error(err)
	}
	if opened == 0 || opened > 500*time.Millisecond || tries != 4 {
		t.Errorf("contactor after %v, heater after %d tries", opened, tries)
	}
}

// While the scan waits in a transaction that does not end, heat goes off over a
// connection of its own; not a byte of it on the scan's.
func TestHeatOffPastAStuckTransaction(t *testing.T) {
	s := newScript(t)
	var mu sync.Mutex
	var scan net.Conn
	written := map[net.Conn][]byte{}
	asked := make(chan struct{})
	s.behave(func(x *exchange) {
		mu.Lock()
		defer mu.Unlock()
		if x.request[9] == 30 { // the scan's read
			scan = x.conn
			close(asked)
			return
		}
		written[x.conn] = append(written[x.conn], x.request[7])
		if x.request[7] == 3 {
			exception(1)(x)
			return
		}
		faithful(x)
	})
	m := newMachine().tcp(s.address).input(point.Bean, number(0, point.Holding, 30)).output(point.AirHeaterPower, number(0, point.Holding, 10))
	f := m.open(t)
	done := make(chan struct{})
	go func() { m.scan(f, 0); close(done) }() // 2 s time-out
	<-asked
	begin := time.Now()
	if err := f.HeatOff(within(t, 1500*time.Millisecond)); err != nil {
		t.Error(err)
	}
	if d := time.Since(begin); d < turnPatience {
		t.Errorf("went past the scan after %v", d)
	}
	select {
	case <-done:
		t.Error("the scan was not stuck")
	default:
	}
	mu.Lock()
	if len(written) != 1 || len(written[scan]) != 0 {
		t.Errorf("requests %v on %d connections", written, len(written))
	}
	mu.Unlock()
	<-done
}

// A serial line has but one connection: HeatOff waits for the transaction and
// says so when that does not end.
func TestHeatOffOnAStuckSerialLine(t *testing.T) {
	m := newMachine().rtu("/dev/none").input(point.Bean, number(0, point.Holding, 10)).output(point.HeatEnable, contact(0, point.Coil, 1))
	f := m.open(t)
	stuck := &stuckPort{release: make(chan struct{})}
	f.buses[0].line.(*rtuLine).opener.open = func(context.Context) (port, error) { return stuck, nil }
	if err := f.Open(context.Background()); err != nil {
		t.Fatal(err)
	}
	var img point.Image
	f.Read(context.Background(), 0, time.Now().Add(20*time.Millisecond), &img)
	if err := f.HeatOff(within(t, 50*time.Millisecond)); !errors.Is(err, errTurn) {
		t.Errorf("%v", err)
	}
	close(stuck.release)
}

// A scan that was overtaken does not turn heat up any more: not in the Write at
// hand; the permit of the next one counts again.
func TestOvertakenWriteDoesNotHeat(t *testing.T) {
	p := newPeer(t)
	f := fullMachine(p).open(t)
	b := f.buses[0]
	o := everything()
	write(t, f, o)
	o.value[point.HeatEnable], o.value[point.DrumRun] = 1, 1
	for i := range b.items {
		b.items[i].prepare(&o)
	}
	if err := f.HeatOff(within(t, 3*time.Second)); err != nil {
		t.Fatal(err)
	}
	for i := range b.items {
		it := &b.items[i]
		err := b.put(context.Background(), it, soon(), &o)
		if heats := it.outs[0].role == point.HeatEnable; heats != errors.Is(err, errOvertaken) {
			t.Errorf("%s: %v", it.outs[0].role, err)
		}
	}
	if p.coils[3] || !p.coils[1] {
		t.Errorf("coils %v", p.coils)
	}
	write(t, f, o)
	if !p.coils[3] {
		t.Error("the next permit does not heat")
	}
}

// Both at once, as fast as they go, under the race detector.
func TestHeatOffBesideScans(t *testing.T) {
	p := newPeer(t)
	m := fullMachine(p).input(point.Bean, number(0, point.Holding, 30))
	f := m.open(t)
	stop := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		for range 50 {
			if err := f.HeatOff(context.Background()); err != nil && !strings.Contains(err.Error(), "reads back as") {
				t.Error(err)
			}
		}
		close(stop)
	})
	o := everything()
	for n := 0; ; n++ {
		select {
		case <-stop:
			wg.Wait()
			return
		default:
		}
		img := m.scan(f, 0.1*float64(n))
		good(t, &img, point.Bean, 0)
		o.value[point.HeatEnable], o.value[point.AirHeaterPower] = float64(n%2), float64(n%100)
		var we *WriteError
		if err := f.order(context.Background(), soon(), o); err != nil && (!errors.As(err, &we) || !errors.Is(we.Outputs[point.HeatEnable], errOvertaken) && !errors.Is(we.Outputs[point.AirHeaterPower], errOvertaken)) {
			t.Fatal(err)
		}
	}
}

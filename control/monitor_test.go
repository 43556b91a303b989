package control

import (
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumwright/control/batch"
	"drumwright/control/plant"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/safety"
)

// cutter is a way past the scan that notes when it is used.
type cutter struct {
	mu    sync.Mutex
	begin time.Time
	at    []time.Duration
	fails int // so many attempts are not acknowledged
}

func (c *cutter) HeatOff(context.Context) error {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.at = append(c.at, time.Since(c.begin))
	if c.fails > 0 {
		c.fails--
		return errors.New("no answer")
	}
	return nil
}

func tripped(s *record.Scan, id string) bool {
	return slices.ContainsFunc(s.Events[:s.NumEvents], func(e record.Event) bool { return e.Kind == record.Trip && e.Name == id })
}

const (
	ms    = time.Millisecond
	limit = time.Second
)

// watched runs a runner on cold probes, in a bubble, with scans every 100 ms,
// until the read of scan n has returned.
func watched(t *testing.T, c *cutter, n int, onRead func(scan int, deadline time.Time)) *Runner {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	f, scan := &fakeField{}, 0
	f.onRead = func(deadline time.Time, _ *point.Image) {
		scan++
		onRead(scan, deadline)
		if scan == n {
			cancel()
		}
	}
	r := newRunner(t, f, &bubble{period: 100 * ms})
	c.begin = time.Now()
	r.Monitor = NewMonitor(c, limit, 100*ms, slog.New(slog.DiscardHandler))
	if err := r.Run(ctx); err != nil {
		t.Fatal(err)
	}
	return r
}

// inTime is a rig whose machine goes on in the time of the bubble, whatever its
// scans do, without the hardware of the heartbeat.
type inTime struct {
	*rig
	cutter
	mu   sync.Mutex
	at   time.Time
	off  bool // heat is off apart from the scan
	scan int
	hang func(scan int)
	log  []string
}

func (f *inTime) advance() {
	dt := time.Since(f.at).Seconds()
	f.at = time.Now()
	v := f.permit.Value
	f.beat++
	c := plant.Commands{DrumRun: v(point.DrumRun) >= 0.5, DrumHz: v(point.DrumSpeed), BlowerRun: v(point.BlowerRun) >= 0.5,
		BlowerHz: v(point.BlowerSpeed), Heartbeat: f.beat, CoolingFan: v(point.CoolingFan) >= 0.5}
	if !f.off {
		c.AirHeaterDuty, c.RadiantDuty, c.HeatEnable = v(point.AirHeaterPower), v(point.RadiantPower), v(point.HeatEnable) >= 0.5
	}
	f.plant.SetCommands(c)
	f.plant.Step(dt)
}

func (f *inTime) Read(_ context.Context, nowS float64, _ time.Time, img *point.Image) {
	f.mu.Lock()
	f.advance()
	f.read()
	*img = f.img
	f.scan++
	f.mu.Unlock()
	f.hang(f.scan)
}

func (f *inTime) Write(_ context.Context, _ time.Time, p *safety.Permit) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.advance()
	if !p.Covers(point.DrumRun) {
		f.off, f.log = true, append(f.log, "heat off")
		return nil
	}
	f.permit, f.off = *p, false
	if p.Value(point.HeatEnable) >= 0.5 {
		f.log = append(f.log, "heat")
	} else {
		f.log = append(f.log, "no heat")
	}
	return nil
}

func (f *inTime) HeatOff(ctx context.Context) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.advance()
	f.off = true
	return f.cutter.HeatOff(ctx)
}

func (f *inTime) heaterW() float64 {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.advance()
	return f.plant.Truth().AirHeaterW
}

// roasting runs a runner in the middle of a roast for n scans; hang is called in
// the read of each.
func roasting(t *testing.T, g *rig, n int, hang func(f *inTime, scan int)) (*inTime, *keep) {
	t.Helper()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	f := &inTime{rig: g, at: time.Now()}
	f.begin = f.at
	f.hang = func(scan int) {
		if hang(f, scan); scan == n {
			cancel()
		}
	}
	r := NewRunner(f, &bubble{period: 100 * ms}, g.core)
	r.rec.ScanS = g.nowS
	k := &keep{}
	r.Sinks = []Sink{k}
	r.Monitor = NewMonitor(f, limit, 100*ms, slog.New(slog.DiscardHandler))
	if err := r.Run(ctx); err != nil {
		t.Fatal(err)
	}
	return f, k
}

// A scan that hangs has its heat turned off one limit after the last permit, and
// again every limit while it hangs. What it had decided heats nothing when it
// comes back; the gap is in the record and trips.
func TestMonitorActsWhenAScanHangs(t *testing.T) {
	g := newRig(t, nil).to(batch.Roasting)
	synctest.Test(t, func(t *testing.T) {
		var before, after float64
		f, k := roasting(t, g, 7, func(f *inTime, scan int) {
			if scan != 5 {
				return
			}
			before = f.heaterW()
			time.Sleep(2700 * ms)
			after = f.heaterW()
		})
		if want := []time.Duration{1400 * ms, 2400 * ms}; !slices.Equal(f.cutter.at, want) {
			t.Errorf("heat off at %v, want %v: one limit after the last permit, and again", f.cutter.at, want)
		}
		if before < 100 || after != 0 {
			t.Errorf("heater %.0f W before and %.0f W in the gap: there is to be heat, and then none", before, after)
		}
		if want := []string{"heat off", "heat", "heat", "heat", "heat", "heat off", "no heat", "no heat", "heat off"}; !slices.Equal(f.log, want) {
			t.Errorf("written: %v, want %v", f.log, want)
		}
		if s := k.scans[4]; s.Safety.HeatPermitted || s.Permit[point.HeatEnable] != 0 {
			t.Error("the record of the scan that hung says that heat was permitted")
		}
		back := k.scans[5]
		if !slices.ContainsFunc(back.Events[:back.NumEvents], stuck) || !tripped(&back, "scan_late") {
			t.Errorf("events %v", back.Events[:back.NumEvents])
		}
		for _, s := range k.scans[6:] {
			if slices.ContainsFunc(s.Events[:s.NumEvents], stuck) {
				t.Error("told twice")
			}
		}
	})
}

func stuck(e record.Event) bool { return e.Kind == record.Warning && e.Name == "scan-stuck" }

// A gap that the clock rounds down to the gate's limit is a gap all the same.
func TestMonitorsGapIsTheGatesGap(t *testing.T) {
	g := newRig(t, nil).to(batch.Roasting)
	synctest.Test(t, func(t *testing.T) {
		f, k := roasting(t, g, 6, func(_ *inTime, scan int) {
			if scan == 4 {
				time.Sleep(901 * ms) // to just after the limit from the permit of scan 3
			}
		})
		if len(f.cutter.at) != 1 {
			t.Fatalf("heat off at %v", f.cutter.at)
		}
		if s := k.scans[4]; !tripped(&s, "scan_late") {
			t.Errorf("events %v", s.Events[:s.NumEvents])
		}
	})
}

// Scans that use all of their time, and a gap of less than the limit, are no
// reason to act; nor is the end of the run.
func TestMonitorLetsScansBe(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &cutter{}
		watched(t, c, 100, func(scan int, deadline time.Time) {
			if time.Sleep(time.Until(deadline)); scan == 50 {
				time.Sleep(700 * ms)
			}
		})
		if len(c.at) > 0 {
			t.Errorf("heat off at %v", c.at)
		}
		time.Sleep(10 * limit)
		if len(c.at) > 0 {
			t.Errorf("heat off at %v, after the end", c.at)
		}
	})
}

// What is not acknowledged is tried again soon.
func TestMonitorTriesAgain(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := &cutter{fails: 2}
		r := watched(t, c, 3, func(scan int, _ time.Time) {
			if scan == 2 {
				time.Sleep(1950 * ms)
			}
		})
		if want := []time.Duration{1100 * ms, 1200 * ms, 1300 * ms}; !slices.Equal(c.at, want) {
			t.Errorf("heat off at %v, want %v", c.at, want)
		}
		if n, failed := r.Monitor.Cuts(); n != 1 || failed != 2 {
			t.Errorf("%d gaps and %d failures counted", n, failed)
		}
	})
}

// A scan that panics takes its monitor along: no goroutine stays behind.
func TestMonitorEndsWithAPanic(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		watched(t, &cutter{}, 3, func(scan int, _ time.Time) {
			if scan == 2 {
				panic("scan")
			}
		})
	})
}

// Three periods are the least, whatever the limit.
func TestMonitorWaitsThreePeriods(t *testing.T) {
	if m := NewMonitor(&cutter{}, 200*ms, 500*ms, nil); m.Limit != 1500*ms {
		t.Errorf("limit %v", m.Limit)
	}
}

// A scan that panics in a roast, at whatever point: heat is off at the machine
// before the panic goes on, and a new controller does not turn it on.
func TestPanicsHaveHeatOff(t *testing.T) {
	t.Parallel()
	g := newRig(t, nil).to(batch.Roasting)
	core := g.core
	rng := rand.New(rand.NewPCG(3, 3))
	heated := 0
	panics := 50
	if peertest.Race {
		panics = 10
	}
	for i := range panics {
		where, at := []string{"read", "sink", "write", "latches"}[rng.IntN(4)], 2+rng.IntN(10)
		synctest.Test(t, func(t *testing.T) {
			f := &inTime{rig: g, at: time.Now()}
			boom := func(here string) {
				if here == where && f.scan >= at {
					if f.heaterW() > 0 {
						heated++
					}
					panic(here)
				}
			}
			f.hang = func(int) { boom("read") }
			r := NewRunner(&mined{f, func() { boom("write") }}, &bubble{period: 100 * ms}, core)
			r.rec.ScanS = g.nowS
			r.Sinks = []Sink{sinkFunc(func(s *record.Scan) { g.nowS = s.ScanS; boom("sink") })}
			r.Latches = func([]string) { boom("latches") }
			if where == "latches" { // a trip comes at that scan
				f.hang = func(scan int) {
					if scan == at {
						f.mu.Lock()
						defer f.mu.Unlock()
						g.inject("estop_pressed")
					}
				}
			}
			func() {
				defer func() {
					if recover() == nil {
						t.Errorf("%d: no panic in %s", i, where)
					}
				}()
				_ = r.Run(t.Context())
			}()
			time.Sleep(10 * ms) // a step of the machine
			if w := f.heaterW(); w > 0 || !f.off {
				t.Errorf("%d: %.0f W after a panic in %s", i, w, where)
			}
		})
		if i < panics-1 { // the core of a panic trips: its contactor opened by itself
			g = newRig(t, nil).to(batch.Roasting)
			core = g.core
		}
	}
	if heated < panics/2 {
		t.Errorf("heat was on at %d panics only", heated)
	}
	g.permit = safety.HeatOff()
	g.again(Restored{OpenBatch: true})
	g.run(10)
	if g.permit.Value(point.HeatEnable) >= 0.5 || g.core.State() != batch.Tripped {
		t.Errorf("after the restart: %s, permit %v", g.core.State(), g.permit.Values())
	}
}

type sinkFunc func(*record.Scan)

func (f sinkFunc) Put(s *record.Scan) { f(s) }

// mined is a field whose writes of a permit may panic.
type mined struct {
	*inTime
	before func()
}

func (m *mined) Write(ctx context.Context, by time.Time, p *safety.Permit) error {
	if p.Covers(point.DrumRun) {
		m.before()
	}
	return m.inTime.Write(ctx, by, p)
}

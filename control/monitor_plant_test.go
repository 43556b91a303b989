package control

import (
	"context"
	"io"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/fieldbus"
	"drumwright/io/record"
)

// hangs is an operator who heats the machine and then, in a sink of the scan's
// own goroutine, does not come back until released.
type hangs struct {
	r       *Runner
	begin   []Command
	reset   Command
	warm    Command
	stuck   chan struct{} // closed when the scan hangs
	release chan struct{}
	heatedS float64
	done    bool

	mu  sync.Mutex
	log []record.Event
}

func (h *hangs) Put(s *record.Scan) {
	h.mu.Lock()
	h.log = append(h.log, s.Events[:s.NumEvents]...)
	h.mu.Unlock()
	if s.N >= 3 && len(h.begin) > 0 {
		h.r.Post(h.begin[0])
		h.begin = h.begin[1:]
	}
	if !h.done && len(h.begin) == 0 && s.N%20 == 0 { // a loaded computer may have tripped it
		switch s.State {
		case "tripped":
			h.r.Post(h.reset)
		case "run-down":
			h.r.Post(h.warm)
		}
	}
	if s.Safety.HeatPermitted {
		h.heatedS += s.Timing.PeriodS
	}
	if h.heatedS > 3 && !h.done {
		h.done = true
		close(h.stuck)
		<-h.release
	}
}

func (h *hangs) events() []record.Event {
	h.mu.Lock()
	defer h.mu.Unlock()
	return slices.Clone(h.log)
}

// Over Modbus and in real time, on a machine without the hardware that watches
// the heartbeat: a scan that hangs has its heat off within the limit and a
// little, and trips when it comes back.
func TestMonitorOnTheSimulatedMachine(t *testing.T) {
	t.Parallel()
	const scale = 2
	m, recipe := files(t)
	p := registers.ParamsFor(m)
	p.HeartbeatS = 0
	machine, err := plant.New(p, 1)
	if err != nil {
		t.Fatal(err)
	}
	skin := float64(recipe.Charge.Skin)
	machine.WarmStart(plant.Warm{SkinC: skin - 30, InletC: 150, ExhaustC: skin - 35, RadiantW: 250})
	server, err := registers.New(m, machine)
	if err != nil {
		t.Fatal(err)
	}
	if err := server.Listen(true); err != nil {
		t.Fatal(err)
	}
	defer server.Close()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	var missed atomic.Int64 // slots of the machine's clock that this computer came late for
	var wg sync.WaitGroup
	defer wg.Wait()
	defer cancel()
	wg.Go(func() {
		for clock := NewWallClock(0.05, scale); ; {
			slot, err := clock.Next(ctx)
			if err != nil {
				return
			}
			missed.Add(int64(slot.Missed))
			for range 1 + slot.Missed {
				if err := server.Advance(0.05); err != nil {
					t.Error(err)
					return
				}
			}
		}
	})

	field, err := fieldbus.New(m, slog.New(slog.NewTextHandler(io.Discard, nil)))
	if err != nil {
		t.Fatal(err)
	}
	defer field.Close()
	core, err := New(m, Restored{})
	if err != nil {
		t.Fatal(err)
	}
	r := NewRunner(field, NewWallClock(float64(m.Scan.PeriodS), scale), core)
	local := func(k record.Kind) Command {
		return Command{Command: record.Command{Kind: k, Local: true, Who: "Ada"}}
	}
	load := local(record.LoadRecipe)
	load.Loaded = recipe
	reset, warm := local(record.ResetTrip), local(record.StartWarming)
	h := &hangs{r: r, begin: []Command{reset, load, warm}, reset: reset, warm: warm, stuck: make(chan struct{}), release: make(chan struct{})}
	r.Sinks = []Sink{h}
	limit := time.Duration(float64(m.Limits.ScanLateS) / scale * float64(time.Second))
	r.Monitor = NewMonitor(field, limit, time.Duration(float64(m.Scan.PeriodS)/scale*float64(time.Second)), slog.New(slog.DiscardHandler))
	var ended sync.WaitGroup
	ended.Go(func() {
		if err := r.Run(ctx); err != nil {
			t.Error(err)
		}
	})
	defer ended.Wait()
	defer cancel()

	heat := func() (w, timeS float64) {
		server.With(func(m *plant.Machine) {
			tr := m.Truth()
			w, timeS = tr.AirHeaterW+tr.RadiantW, tr.TimeS
		})
		return w, timeS
	}
	select {
	case <-h.stuck:
	case <-time.After(20 * time.Second):
		t.Fatalf("no heat: %v", h.events())
	}
	w, stuckS := heat()
	missedBefore := missed.Load()
	if w == 0 {
		t.Error("no heat to turn off")
	}
	offS := stuckS
	for end := time.Now().Add(10 * time.Second); w > 0 && time.Now().Before(end); time.Sleep(time.Millisecond) {
		w, offS = heat()
	}
	// The limit in the machine's time, a tenth of a second for the write, and
	// what a loaded computer let pass without running anybody.
	if allowed := float64(m.Limits.ScanLateS) + 0.1*scale + 0.05*float64(missed.Load()-missedBefore); w > 0 || offS-stuckS > allowed {
		t.Errorf("%.0f W %.2f s after the scan hung, allowed %.2f s", w, offS-stuckS, allowed)
	}
	h.mu.Lock()
	h.log = nil // an earlier gap of a loaded computer does not count
	h.mu.Unlock()
	close(h.release)
	came := func(k record.EventKind, name string) bool {
		return slices.ContainsFunc(h.events(), func(e record.Event) bool { return e.Kind == k && e.Name == name })
	}
	for end := time.Now().Add(10 * time.Second); !came(record.Trip, "scan_late") && time.Now().Before(end); {
		time.Sleep(time.Millisecond)
	}
	if !came(record.Trip, "scan_late") || !came(record.Warning, "scan-stuck") {
		t.Errorf("events %v", h.events())
	}
	if w, _ := heat(); w > 0 {
		t.Errorf("%.0f W after the scan came back", w)
	}
}

package control

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

// fakeField notes what is asked of it, in order.
type fakeField struct {
	mu     sync.Mutex
	calls  []string // "read", "permit", "heat off"
	readS  []float64
	onRead func(deadline time.Time, img *point.Image)
	fail   error
}

func (f *fakeField) Read(_ context.Context, nowS float64, deadline time.Time, img *point.Image) {
	f.mu.Lock()
	f.calls, f.readS = append(f.calls, "read"), append(f.readS, nowS)
	f.mu.Unlock()
	if f.onRead != nil {
		f.onRead(deadline, img)
	}
}

func (f *fakeField) Write(_ context.Context, _ time.Time, p *safety.Permit) error {
	f.mu.Lock()
	defer f.mu.Unlock()
	what := "permit"
	if !p.Covers(point.DrumRun) {
		what = "heat off"
	}
	if !p.Issued() {
		what = "no permit"
	}
	f.calls = append(f.calls, what)
	return f.fail
}

// script is a clock that gives its slots and then ends.
type script struct {
	slots []Slot
	err   error
}

func (c *script) Next(context.Context) (Slot, error) {
	if len(c.slots) == 0 {
		return Slot{}, c.err
	}
	s := c.slots[0]
	c.slots = c.slots[1:]
	return s, nil
}

type keep struct{ scans []record.Scan }

func (k *keep) Put(s *record.Scan) { k.scans = append(k.scans, *s) }

func newRunner(t *testing.T, f Field, c Clock) *Runner {
	t.Helper()
	m, _ := files(t)
	core, err := New(m, Restored{})
	if err != nil {
		t.Fatal(err)
	}
	return NewRunner(f, c, core)
}

// Heat off is written before anything is read, and after the last scan; between
// them every scan reads before it writes.
func TestRunnerOrder(t *testing.T) {
	f := &fakeField{}
	r := newRunner(t, f, &script{slots: make([]Slot, 2), err: context.Canceled})
	k := &keep{}
	r.Sinks = []Sink{k}
	if err := r.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	if want := []string{"heat off", "read", "permit", "read", "permit", "heat off"}; !slices.Equal(f.calls, want) {
		t.Errorf("calls %v, want %v", f.calls, want)
	}
	if len(k.scans) != 2 || k.scans[0].N != 1 || k.scans[1].N != 2 || k.scans[1].UnixNano == 0 {
		t.Errorf("the sink has %d scans", len(k.scans))
	}
}

func TestRunnerTellsAFailedClock(t *testing.T) {
	broken := errors.New("broken")
	f := &fakeField{fail: errors.New("no answer")} // a field that fails stops nothing
	r := newRunner(t, f, &script{slots: make([]Slot, 1), err: broken})
	if err := r.Run(context.Background()); !errors.Is(err, broken) {
		t.Errorf("Run: %v", err)
	}
	if f.calls[len(f.calls)-1] != "heat off" {
		t.Errorf("calls %v", f.calls)
	}
}

// A scan that panics has its heat written off before the panic goes on.
func TestRunnerPanic(t *testing.T) {
	f := &fakeField{}
	r := newRunner(t, f, &script{slots: make([]Slot, 1)})
	f.onRead = func(time.Time, *point.Image) { r.Core.gate = nil } // Step cannot go on
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		_ = r.Run(context.Background())
	}()
	if want := []string{"heat off", "read", "heat off"}; !slices.Equal(f.calls, want) {
		t.Errorf("calls %v, want %v", f.calls, want)
	}
	if a := r.Do(context.Background(), record.Command{Kind: record.Acknowledge}); a.Accepted {
		t.Error("a stopped runner takes commands")
	}
}

// Missed periods are counted, pass in scan time, and are not caught up.
func TestRunnerMissedPeriods(t *testing.T) {
	f := &fakeField{}
	r := newRunner(t, f, &script{slots: []Slot{{}, {Missed: 3, LatenessS: 0.02}, {}}, err: context.Canceled})
	k := &keep{}
	r.Sinks = []Sink{k}
	if err := r.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.1, 0.5, 0.6} {
		if d := f.readS[i] - want; d < -1e-9 || d > 1e-9 {
			t.Errorf("scan %d is at %v s, want %v", i, f.readS[i], want)
		}
	}
	if n := k.scans[2].Timing.Overruns; n != 3 {
		t.Errorf("%d overruns, want 3", n)
	}
	if k.scans[1].Timing.LatenessS != 0.02 || k.scans[1].Timing.PeriodS != 0.1 {
		t.Errorf("timing %+v", k.scans[1].Timing)
	}
}

func TestRunnerCommands(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		f := &fakeField{onRead: func(_ time.Time, img *point.Image) {
			img.In[point.EmergencyStopHealthy] = point.Value{V: 1, Quality: point.Good}
		}}
		ctx, cancel := context.WithCancel(context.Background())
		r := newRunner(t, f, &bubble{period: 100 * time.Millisecond})
		_, recipe := files(t)
		r.Recipes = func(name string) (*profiles.Recipe, error) {
			if name != "harbour-medium" {
				return nil, errors.New("no recipe " + name)
			}
			return recipe, nil
		}
		done := make(chan error)
		go func() { done <- r.Run(ctx) }()
		for _, c := range []struct {
			cmd  record.Command
			want record.Answer
		}{
			{record.Command{Kind: record.LoadRecipe, Recipe: "none"}, record.Answer{Reason: "no recipe none"}},
			{record.Command{Kind: record.LoadRecipe, Recipe: "harbour-medium"}, record.Answer{Accepted: true, Reason: "recipe harbour-medium loaded"}},
			{record.Command{Kind: record.Hold}, record.Answer{Reason: "Heat is not in use: there is nothing to hold."}},
		} {
			before := time.Now()
			if a := r.Do(ctx, c.cmd); a != c.want {
				t.Errorf("%s %s: %+v, want %+v", c.cmd.Kind, c.cmd.Recipe, a, c.want)
			}
			if d := time.Since(before); d > 100*time.Millisecond {
				t.Errorf("%s was answered after %v, more than a period", c.cmd.Kind, d)
			}
		}
		gone, stop := context.WithCancel(ctx)
		stop()
		if a := r.Do(gone, record.Command{Kind: record.Acknowledge}); a.Accepted {
			t.Error("a caller that left got an answer")
		}
		cancel()
		if err := <-done; err != nil {
			t.Error(err)
		}
		if a := r.Do(context.Background(), record.Command{Kind: record.Acknowledge}); a.Reason != "the controller has stopped" {
			t.Errorf("after the end: %+v", a)
		}
	})
}

// A command whose sender has gone before a scan came, as when scans hang, starts
// nothing later; a stop is carried out all the same.
func TestRunnerLeavesOutWhatNobodyWaitsFor(t *testing.T) {
	for _, late := range []string{"gone", "too late"} {
		r := newRunner(t, &fakeField{}, &script{slots: make([]Slot, 3), err: context.Canceled})
		k := &keep{}
		r.Sinks = []Sink{k}
		for _, kind := range []record.Kind{record.StartWarming, record.Stop} {
			ctx, end := context.WithCancel(context.Background())
			if late == "too late" {
				ctx, end = context.WithDeadline(context.Background(), time.Now().Add(-time.Second))
			}
			defer end()
			answered := make(chan record.Answer)
			go func() { answered <- r.Do(ctx, record.Command{Kind: kind, Local: true, Who: "Ada"}) }()
			if late == "gone" {
				end()
			}
			if a := <-answered; a.Accepted {
				t.Fatalf("%s: %+v", kind, a)
			}
		}
		if err := r.Run(context.Background()); err != nil {
			t.Fatal(err)
		}
		heard := map[string]bool{}
		for i := range k.scans {
			for _, e := range k.scans[i].Events[:k.scans[i].NumEvents] {
				heard[e.Name] = heard[e.Name] || e.Kind == record.Accepted || e.Kind == record.Rejected
			}
		}
		if heard[string(record.StartWarming)] || !heard[string(record.Stop)] {
			t.Errorf("%s: heard %v, want stop and no warming", late, heard)
		}
	}
}

// A queue that is full refuses at once.
func TestRunnerFullQueue(t *testing.T) {
	r := newRunner(t, &fakeField{}, &script{})
	n := 0
	for r.Post(Command{}) {
		n++
	}
	if n != 64 {
		t.Errorf("%d commands were taken", n)
	}
	if a := r.Do(context.Background(), record.Command{Kind: record.Acknowledge}); a.Accepted || a.Reason != "too many commands are waiting: try again" {
		t.Errorf("%+v", a)
	}
}

// bubble is a clock of absolute deadlines on the time of a test bubble.
type bubble struct {
	period time.Duration
	next   time.Time
}

func (c *bubble) Next(ctx context.Context) (Slot, error) {
	if c.next.IsZero() {
		c.next = time.Now()
	}
	last := c.next
	next, missed := deadline(last.UnixNano(), time.Now().UnixNano(), int64(c.period))
	c.next = time.Unix(0, next)
	select {
	case <-ctx.Done():
		return Slot{}, ctx.Err()
	case <-time.After(time.Until(c.next)):
	}
	return Slot{Missed: missed, ReadBy: c.next.Add(c.period * 6 / 10), DoneBy: c.next.Add(c.period)}, nil
}

// A field that uses all of the time it is given does not move the next scan;
// one that overruns it costs whole periods, and the scans after are on the grid
// again.
func TestRunnerSlowField(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		begin := time.Now()
		var at []time.Duration
		f := &fakeField{}
		ctx, cancel := context.WithCancel(context.Background())
		f.onRead = func(deadline time.Time, _ *point.Image) {
			at = append(at, time.Since(begin))
			switch len(at) {
			case 3:
				time.Sleep(250 * time.Millisecond) // over its deadline: a driver that is stuck
			case 6:
				cancel()
			default:
				time.Sleep(time.Until(deadline))
			}
		}
		r := newRunner(t, f, &bubble{period: 100 * time.Millisecond})
		k := &keep{}
		r.Sinks = []Sink{k}
		if err := r.Run(ctx); err != nil {
			t.Fatal(err)
		}
		ms := time.Millisecond
		if want := []time.Duration{100 * ms, 200 * ms, 300 * ms, 550 * ms, 600 * ms, 700 * ms}; !slices.Equal(at, want) {
			t.Errorf("scans at %v, want %v", at, want)
		}
		if n := k.scans[len(k.scans)-1].Timing.Overruns; n != 1 {
			t.Errorf("%d overruns, want 1", n)
		}
	})
}

// Latches are told when they change, also when one goes as another comes.
func TestRunnerTellsLatches(t *testing.T) {
	f := &fakeField{}
	scan := 0
	f.onRead = func(_ time.Time, img *point.Image) {
		scan++
		good := func(v float64) point.Value { return point.Value{V: v, Quality: point.Good} }
		for i := range point.NumInputs {
			switch i.Role().Kind {
			case point.Temperature:
				img.In[i] = good(22)
			default:
				img.In[i] = good(0)
			}
		}
		for _, i := range []point.Input{point.EmergencyStopHealthy, point.HighLimitHealthy, point.CoverClosed} {
			img.In[i] = good(1)
		}
		img.In[point.DrumStatus], img.In[point.BlowerStatus] = good(point.DriveStopped), good(point.DriveStopped)
		if scan == 3 {
			img.In[point.EmergencyStopHealthy] = good(0)
		}
		if scan >= 40 {
			img.In[point.FireButton] = good(1)
		}
	}
	var told [][]string
	r := newRunner(t, f, &script{slots: make([]Slot, 42), err: context.Canceled})
	r.Latches = func(l []string) { told = append(told, l) }
	old := f.onRead
	f.onRead = func(d time.Time, img *point.Image) {
		old(d, img)
		if scan == 40 {
			r.Post(Command{Command: record.Command{Kind: record.ResetTrip, Local: true, Who: "Ada"}})
		}
	}
	if err := r.Run(context.Background()); err != nil {
		t.Fatal(err)
	}
	if len(told) != 2 || !slices.Equal(told[0], []string{"emergency_stop"}) || !slices.Equal(told[1], []string{"fire_button"}) {
		t.Errorf("told %v, last events %v", told, r.rec.Events)
	}
}

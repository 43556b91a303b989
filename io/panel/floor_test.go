package panel_test

import (
	"context"
	"log/slog"
	"sync"
	"testing"
	"time"

	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/fieldbus"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// floor is a controller on the simulated machine, moved on scan by scan by whoever
// has it: what the page shows here is what a whole machine brings about, by its own
// faults and by nobody's figures.
type floor struct {
	testing.TB
	machine *profiles.Machine
	recipe  *profiles.Recipe
	server  *registers.Server
	runner  *control.Runner
	bar     control.Bar

	turn, over chan struct{}
	at         sync.Mutex // held during a scan of a machine that lives, and while somebody is at it
	last       record.Scan
}

// newFloor starts a cold machine that has stood overnight; change may differ from the
// shipped files, restored is what an earlier day has left.
func newFloor(t testing.TB, change func(*profiles.Machine, *profiles.Recipe), restored control.Restored) *floor {
	t.Helper()
	f := &floor{TB: t, turn: make(chan struct{}), over: make(chan struct{})}
	text, _ := profiles.Example("machines/heron-1000.yaml")
	m, err := profiles.ParseMachine("heron-1000.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	text, _ = profiles.Example("recipes/harbour-medium.yaml")
	if f.recipe, err = profiles.ParseRecipe("harbour-medium.yaml", text); err != nil {
		t.Fatal(err)
	}
	m.Batch.ReadyBandK, m.Batch.SoakS, m.Batch.RunDownBelow, m.Batch.RunDownHoldS = 20, 5, 150, 5 // soon ready, soon cold
	if change != nil {
		change(m, f.recipe)
	}
	f.machine = m
	physics, err := plant.New(registers.ParamsFor(m), 7)
	if err != nil {
		t.Fatal(err)
	}
	if f.server, err = registers.New(m, physics); err != nil {
		t.Fatal(err)
	}
	field, err := fieldbus.NewInStep(m, slog.New(slog.DiscardHandler), f.server.Exchange)
	if err != nil {
		t.Fatal(err)
	}
	core, err := control.New(m, restored)
	if err != nil {
		t.Fatal(err)
	}
	f.runner = control.NewRunner(field, f, core)
	f.runner.Recipes = func(string) (*profiles.Recipe, error) { return f.recipe, nil }
	f.runner.Bars = func() control.Bar { return f.bar }
	f.runner.Sinks = []control.Sink{f}
	ctx, cancel := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- f.runner.Run(ctx) }()
	t.Cleanup(func() {
		cancel()
		if err := <-ended; err != nil {
			t.Error(err)
		}
		if err := field.Close(); err != nil {
			t.Error(err)
		}
		f.server.Close()
	})
	return f
}

// Next is the clock of the runner: the machine moves when its owner says so.
func (f *floor) Next(ctx context.Context) (control.Slot, error) {
	select {
	case <-ctx.Done():
		return control.Slot{}, ctx.Err()
	case <-f.turn:
	}
	by := time.Now().Add(browserPatience)
	return control.Slot{ReadBy: by, DoneBy: by}, f.server.Advance(float64(f.machine.Scan.PeriodS))
}

// Put takes a finished scan.
func (f *floor) Put(s *record.Scan) {
	f.last = *s
	f.over <- struct{}{}
}

// scan moves the machine on by one scan.
func (f *floor) scan() {
	f.turn <- struct{}{}
	<-f.over
}

// live lets the machine go on by itself, as fast as in life, and shows each scan.
func (f *floor) live(show func(*record.Scan)) {
	stop, ended := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(ended)
		tick := time.NewTicker(time.Duration(float64(f.machine.Scan.PeriodS) * float64(time.Second)))
		defer tick.Stop()
		for {
			select {
			case <-stop:
				return
			case <-tick.C:
			}
			f.at.Lock()
			f.scan()
			show(&f.last)
			f.at.Unlock()
		}
	}()
	f.Cleanup(func() { close(stop); <-ended })
}

// jump does something to a machine that lives, such as to let hours pass at once.
func (f *floor) jump(do func()) {
	f.Helper()
	f.at.Lock()
	defer f.at.Unlock()
	do()
}

// until moves the machine on until a scan is as wanted, for at most so many seconds
// of its time.
func (f *floor) until(what string, mostS float64, so func(*record.Scan) bool) {
	f.Helper()
	for by := f.last.ScanS + mostS; ; {
		f.scan()
		if so(&f.last) {
			return
		}
		if f.last.ScanS > by {
			f.Fatalf("%s: not within %.0f s; the machine is %s since %.0f s: %s; first cause %q", what, mostS, f.last.State, f.last.InS, f.last.Next, f.last.Safety.First)
		}
	}
}

func in(state string) func(*record.Scan) bool {
	return func(s *record.Scan) bool { return s.State == state }
}

// run moves the machine on for so many seconds of its time.
func (f *floor) run(forS float64) {
	by := f.last.ScanS + forS
	f.until("time", 2*forS+1, func(s *record.Scan) bool { return s.ScanS >= by })
}

// do gives a command at the machine and moves on by the scan that hears it; it must
// be taken.
func (f *floor) do(c record.Command) {
	f.Helper()
	if a := f.ask(c); !a.Accepted {
		f.Fatalf("%s while %s: %s", c.Kind, f.last.State, a.Reason)
	}
}

// ask is do with whatever comes of it.
func (f *floor) ask(c record.Command) record.Answer {
	f.Helper()
	c.Who, c.Local = "Ada", true
	f.runner.Post(control.Command{Command: c, Loaded: f.recipe})
	f.scan()
	for _, e := range f.last.Events[:f.last.NumEvents] {
		if e.Name == string(c.Kind) && (e.Kind == record.Accepted || e.Kind == record.Rejected) {
			return record.Answer{Accepted: e.Kind == record.Accepted, Reason: e.Text}
		}
	}
	f.Fatalf("no answer to %s", c.Kind)
	return record.Answer{}
}

func (f *floor) give(k record.Kind) { f.Helper(); f.do(record.Command{Kind: k}) }

// hand does something to the machine itself.
func (f *floor) hand(do func(*plant.Machine) error) {
	f.Helper()
	var err error
	f.server.With(func(m *plant.Machine) { err = do(m) })
	if err != nil {
		f.Fatal(err)
	}
}

func (f *floor) fault(name string) {
	f.Helper()
	f.hand(func(m *plant.Machine) error { return m.Inject(name) })
}

func (f *floor) mend(name string) {
	f.Helper()
	f.hand(func(m *plant.Machine) error { return m.Clear(name) })
}

// hot is a machine where a preheat for the recipe would have brought it.
func (f *floor) hot(running bool) {
	const roomC = 22
	skin, inlet := float64(f.recipe.Charge.Skin), float64(f.recipe.Charge.Air)
	loss := float64(f.machine.Bed.DrumLoss)*(skin-roomC) - float64(f.machine.Bed.GasToDrum)*(inlet-skin)
	f.hand(func(m *plant.Machine) error {
		m.WarmStart(plant.Warm{SkinC: skin, InletC: inlet, ExhaustC: skin, RadiantW: max(0, loss), Running: running})
		return nil
	})
}

// ready brings a cold machine to where it waits for the beans.
func (f *floor) ready() {
	f.Helper()
	f.preheated()
	f.give(record.LoadRecipe)
	f.give(record.StartWarming)
	f.until("ready", 600, in("ready"))
}

// preheated is a machine that a person starts to warm while it is hot enough already.
func (f *floor) preheated() {
	f.Helper()
	f.until("the first readings", 3, func(s *record.Scan) bool { // of every probe, once: a second would show a fire's rise
		for i := range point.NumInputs {
			if i.Role().Kind == point.Temperature && f.machine.HasIn[i] && !s.Image.In[i].Usable() {
				return false
			}
		}
		return true
	})
	f.hot(false)
	f.scan()
}

// pour lets the beans in.
func (f *floor) pour() {
	f.Helper()
	f.hand(func(m *plant.Machine) error { return m.Charge(float64(f.recipe.Charge.Green), 0.11) })
}

// roast brings the machine to so many seconds after a charge.
func (f *floor) roast(sinceS float64) {
	f.Helper()
	f.ready()
	f.pour()
	f.until("the charge", 60, in("roasting"))
	f.until("the roast", sinceS+60, func(s *record.Scan) bool { return s.Batch.SinceS >= sinceS || s.State != "roasting" })
	if f.last.State != "roasting" {
		f.Fatalf("the roast has ended: %s, first cause %q", f.last.State, f.last.Safety.First)
	}
}

func (f *floor) drop() { f.hand(func(m *plant.Machine) error { m.Drop(); return nil }) }

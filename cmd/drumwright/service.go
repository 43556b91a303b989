package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync"
	"time"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/batch"
	"drumwright/io/access"
	"drumwright/io/fieldbus"
	"drumwright/io/journal"
	"drumwright/io/panel"
	"drumwright/io/telemetry"
	"drumwright/profiles"
)

// service is what serve puts together, in the order of its methods: the machine and
// heat off first, then the record of what was, the control core on both, those who
// listen, and the API last, so that nobody commands what is half built.
type service struct {
	m              *profiles.Machine
	o              *serveOptions
	bench          string  // who answers for heat without commissioning, and why; "" = nobody
	scale          float64 // so many times faster than life
	log            *slog.Logger
	stdout, stderr io.Writer
	ends           []func() error // what close does, from the last to the first

	// takeMachine
	practice *rehearsal.Practice // nil on a real machine
	clock    control.Clock
	field    *fieldbus.Fieldbus

	// openRecord
	keep     *journal.Sink
	restored control.Restored

	// buildCore
	core    *control.Controller
	runner  *control.Runner
	lessons *lessonBook
	next    *nextBatches
	work    sync.WaitGroup

	// addSinks
	manager *notifier       // nil where no service manager asked
	mqtt    *telemetry.MQTT // nil without a broker
	proofs  *proofBook
	board   *computer
}

// atEnd has close do f, before everything that was asked for earlier.
func (s *service) atEnd(f func()) { s.ends = append(s.ends, func() error { f(); return nil }) }

// close gives everything back in the opposite order. The error is the first.
func (s *service) close() (err error) {
	for i := len(s.ends) - 1; i >= 0; i-- {
		err = firstOf(err, s.ends[i]())
	}
	return err
}

// takeMachine takes the buses for itself alone and writes heat off: before all
// else, also before the disk.
func (s *service) takeMachine(ctx context.Context) (err error) {
	s.clock = control.NewWallClock(float64(s.m.Scan.PeriodS), s.scale)
	if s.o.practice > 0 {
		s.scale = s.o.practice
		if s.practice, err = rehearsal.NewPractice(s.m, 1, s.scale, func(text string) { fmt.Fprintln(s.stdout, text) }); err != nil {
			return err
		}
		s.atEnd(s.practice.Close)
		s.clock = s.practice
	}
	locks, err := lockBuses(s.m, lockFolders())
	if err != nil {
		return err
	}
	s.atEnd(locks.release)
	if s.field, err = fieldbus.New(s.m, s.log); err != nil {
		return err
	}
	s.ends = append(s.ends, s.field.Close)
	heatOff(ctx, s.field, s.log)
	return nil
}

// openRecord opens the journal and reads from it what was before.
func (s *service) openRecord(ctx context.Context) (err error) {
	t := &s.m.Telemetry
	if _, err := os.Stat(t.Journal); errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintln(s.stderr, "First start of this machine. Before heat is used:")
		printCautions(s.stderr)
	}
	s.keep, s.restored, err = openJournal(ctx, t.Journal, journal.Config{SampleS: float64(t.EveryS), MachineText: s.m.Text,
		AirW: float64(s.m.Heaters.Air.PowerW), BaseW: float64(s.m.Heaters.Radiant.PowerW), LimitBytes: int64(t.JournalLimitMB) << 20, Version: versionText(), Log: s.log})
	if err != nil {
		return err
	}
	s.ends = append(s.ends, s.keep.Close)
	latest, err := s.keep.Latest(ctx)
	if err != nil {
		return err
	}
	if s.restored.Today, s.restored.TodayS = today(time.Now(), latest); s.restored.Today == "" {
		s.log.Warn("the clock is behind what the journal has kept: no exception is in force until it is right and the daemon has started anew", "latest", latest)
	}
	s.restored.TodayS *= s.scale
	return nil
}

// buildCore puts the control core between machine and clock, and gives it what it
// may ask: recipes, forecasts, lessons, the tape.
func (s *service) buildCore(ctx context.Context) (err error) {
	if s.core, err = control.New(s.m, s.restored); err != nil {
		return err
	}
	s.runner = control.NewRunner(s.field, s.clock, s.core)
	s.runner.Log = s.log
	if s.practice == nil { // in practice time waits for a slow computer
		s.runner.Monitor = control.NewMonitor(s.field, s.inReal(s.m.Limits.ScanLateS), s.inReal(s.m.Scan.PeriodS), s.log)
	}
	findRecipe := recipesIn(s.o.recipes)
	s.runner.Recipes = func(name string) (*profiles.Recipe, error) {
		r, err := findRecipe(name)
		if err != nil {
			return nil, err
		}
		if text, err := os.ReadFile(r.File); err == nil {
			s.keep.KeepText(string(text))
		}
		return r, profiles.Fit(r, s.m)
	}
	s.runner.Preflight = foresees(s.m, s.log)
	if s.lessons, err = newLessonBook(ctx, s.m, s.keep, s.runner.Post, s.log); err != nil {
		return err
	}
	s.atEnd(s.lessons.close)
	s.runner.Lessons = s.lessons.For
	latches, err := s.keep.Latches(ctx)
	if err != nil {
		return err
	}
	s.next = newNextBatches(latches[nextBatchLatch], s.keep.LastBatchID(), s.m.Bed, s.runner.Post, s.keep, s.log)
	s.atEnd(s.next.close)
	s.atEnd(s.work.Wait)
	kept := newMemoryKeeper(s.keep, s.m.Telemetry.Journal, s.core, s.restored, s.log)
	s.atEnd(kept.close)
	s.runner.Latches = kept.put
	recorder := newRecorder(s.core, s.keep.KeepTape, false, s.log)
	s.atEnd(recorder.close)
	s.runner.Tape = recorder
	s.runner.Sinks = []control.Sink{s.keep, kept, &eventLog{log: s.log}, s.lessons, s.next}
	return nil
}

// addSinks adds those who are told of each scan, and those who may bar a roast.
func (s *service) addSinks(ctx context.Context) (err error) {
	if s.practice != nil {
		s.runner.Sinks = append(s.runner.Sinks, s.practice)
		fmt.Fprintf(s.stdout, "Simulated machine, %g times faster than life. Open http://%s in a browser; Ctrl-C ends it.\n", s.scale, s.m.Telemetry.Listen)
	}
	if s.manager = newNotifier(s.m, s.log); s.manager != nil {
		s.runner.Sinks = append(s.runner.Sinks, s.manager)
	}
	if s.m.Telemetry.MQTT != nil && s.practice == nil { // no broker is to take played figures for a machine's
		if s.mqtt, err = newMQTT(s.m, s.keep, s.log); err != nil {
			return err
		}
		s.atEnd(s.mqtt.Close)
		s.runner.Sinks = append(s.runner.Sinks, s.mqtt)
	}
	s.proofs = newProofBook(ctx, s.m, s.keep, s.log)
	if s.bench != "" {
		s.log.Warn("commissioning is not asked for", "why", s.bench)
	} else {
		s.proofs.ask(ctx, uncommissioned(s.m, s.keep))
	}
	s.board = newComputer(os.DirFS("/"), filepath.Dir(s.m.Telemetry.Journal), s.log)
	s.runner.Bars = func() control.Bar {
		bar := s.proofs.Bar()
		bar.Computer = s.board.Now()
		return bar
	}
	byItself := newAutomaticProofs(s.proofs)
	s.atEnd(byItself.close)
	s.runner.Sinks = append(s.runner.Sinks, byItself)
	return nil
}

// openAPI lets the page, the terminal and the scrape in.
func (s *service) openAPI(ctx context.Context) error {
	metrics := telemetry.NewMetrics(telemetry.MetricsConfig{States: batch.Names(), Buses: func() []telemetry.BusStat { return busStats(s.field) }, Drops: dropsOf(s.keep, s.mqtt),
		Forced: func() telemetry.Forced { return forcedBy(s.runner.Monitor) }, Barred: func() bool { return s.proofs.Bar().Charge != "" }})
	shop, err := newHouse(s.m, s.keep, s.o.recipes, s.restored.Today, s.bench, s.practice != nil || s.scale > 1, s.scale)
	if err != nil {
		return err
	}
	accounts := access.Open(access.FileOf(s.m.Telemetry.Journal), s.log)
	proxies, names, err := accessOf(s.m)
	if err != nil {
		return err
	}
	api := panel.New(panel.Config{Operator: s.runner, Batches: s.keep, History: s.keep, Proofs: s.proofs, Shop: shop, Learning: s.lessons,
		Folder: &recipeFolder{dir: s.o.recipes, m: s.m, now: time.Now}, Next: s.next, Reports: pageReports{s.keep.Reader},
		Preflight: flies(s.runner.Recipes, s.lessons), Metrics: metrics.Handler(),
		Accounts: accounts, Audit: s.keep, Remote: s.m.Access.Remote, Names: names, Proxies: proxies, Log: s.log})
	s.runner.Sinks = append(s.runner.Sinks, metrics, api)
	listeners, err := listenFor(s.m)
	if err != nil {
		return err
	}
	apiCtx, stop := context.WithCancel(context.WithoutCancel(ctx)) // it answers until heat is written off
	s.atEnd(stop)
	s.work.Go(func() {
		if err := api.Serve(apiCtx, listeners...); err != nil {
			s.log.Error("the local API has ended", "err", err)
		}
	})
	s.work.Go(func() { s.proofs.watch(apiCtx) })
	s.work.Go(func() { s.board.watch(apiCtx) })
	s.work.Go(func() { checkJournal(apiCtx, s.m.Telemetry.Journal, s.log) })
	s.log.Info("serving", "address", s.m.Telemetry.Listen, "view", s.m.Access.View, "passwords", accounts.Asked(), "time_scale", s.scale)
	return nil
}

// run scans until told to end, or for o.forS.
func (s *service) run(ctx context.Context) error {
	var punctual *punctuality
	if s.o.forS > 0 {
		punctual = newPunctuality()
		s.runner.Sinks = append(s.runner.Sinks, punctual)
		var cancel context.CancelFunc
		ctx, cancel = context.WithCancel(ctx) // an end like any other, not an error
		defer cancel()
		defer time.AfterFunc(time.Duration(s.o.forS*float64(time.Second)), cancel).Stop()
	}
	err := s.runner.Run(ctx)
	s.manager.stopping()
	s.log.Info("heat is written off; closing")
	if punctual != nil {
		punctual.print(s.stdout)
	}
	return err
}

// inReal is a time of the machine as it passes on the wall.
func (s *service) inReal(t profiles.Seconds) time.Duration {
	return time.Duration(float64(t) / s.scale * float64(time.Second))
}

// startOff is how long heat off may take at the start before the rest goes on;
// the scans try again.
const startOff = time.Second

// heatOff writes heat off, and reads it back, before anything else is done.
func heatOff(ctx context.Context, field *fieldbus.Fieldbus, log *slog.Logger) {
	ctx, cancel := context.WithTimeout(ctx, startOff)
	defer cancel()
	if err := field.HeatOff(ctx); err != nil {
		log.Warn("heat is not known to be off at the start: every scan tries again", "err", err)
		return
	}
	log.Info("heat is off")
}

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
	"runtime/debug"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

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

type serveOptions struct {
	recipes  string
	logLevel string
	bench    string
	forS     float64
	practice float64 // on a simulated machine in the same program, so many times faster than life; 0 = a real one
}

// gcPercent is by how much the heap may grow between collections. The daemon holds
// a few megabytes and makes less than one a second: collecting twice as often as
// usual is not felt, and the memory of a small board is.
const gcPercent = 50

func serveCommand() *cobra.Command {
	var o serveOptions
	c := &cobra.Command{
		Use:   "serve MACHINE",
		Short: "Control the machine that a machine file describes",
		Long: `serve is the daemon: it scans the machine, runs loops, sequence and interlocks,
keeps the journal and answers the local API. It starts cold: heat never comes on
by itself, and a batch never goes on after a restart. Before anything else it
writes heat off. On SIGINT or SIGTERM it writes heat off first and leaves drum
and air as they are; a second signal ends it at once. Only one controller may
drive a bus.

Commands that set something in motion or lift a protection are taken at the
machine only: over the local socket or from a loopback address.

Exit codes: 0 done, 1 could not, 2 wrong command line, 78 wrong machine file: a
service manager need not try that again.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			err := serve(cmd.Context(), args[0], &o, cmd.OutOrStdout(), cmd.ErrOrStderr())
			if faults := (profiles.Faults)(nil); errors.As(err, &faults) {
				err = exitError{codeConfig, err}
			}
			return err
		},
	}
	f := c.Flags()
	f.StringVar(&o.recipes, "recipes", "", "folder of recipes; default recipes beside the machine file")
	f.StringVar(&o.logLevel, "log", "info", "debug, info, warn or error; SIGUSR1 turns debug on while it runs, SIGUSR2 off again")
	f.StringVar(&o.bench, "bench", "", "\"NAME: REASON\": heat beans on a bench or simulated machine that was not commissioned; NAME answers for it, log and every screen show it")
	f.Float64Var(&o.forS, "for", 0, "end after so many seconds and print how punctual the scan was; 0 = run until told")
	return c
}

func serve(ctx context.Context, file string, o *serveOptions, stdout, stderr io.Writer) (err error) {
	log, level, err := newLog(stderr, o.logLevel)
	if err != nil {
		return err
	}
	defer obey(log, level)()
	m, err := profiles.LoadMachine(file)
	if err != nil {
		return err
	}
	bench, err := benchOf(o.bench, o.practice > 0)
	if err != nil {
		return exitError{codeInput, err}
	}
	if o.recipes == "" {
		o.recipes = filepath.Join(filepath.Dir(file), "recipes")
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
	log.Info("starting", "version", versionText(), "machine", m.About.Name, "file", file)
	for _, s := range m.Missing() {
		log.Warn("not covered", "what", s)
	}

	scale := max(1, m.Simulation.TimeScale)
	clock := control.Clock(control.NewWallClock(float64(m.Scan.PeriodS), scale))
	var practice *rehearsal.Practice
	if o.practice > 0 {
		scale = o.practice
		if practice, err = rehearsal.NewPractice(m, 1, scale, func(text string) { fmt.Fprintln(stdout, text) }); err != nil {
			return err
		}
		defer practice.Close()
		clock = practice
	}

	// Heat off comes before all else, also before the disk.
	locks, err := lockBuses(m, lockFolders())
	if err != nil {
		return err
	}
	defer locks.release()
	field, err := fieldbus.New(m, log)
	if err != nil {
		return err
	}
	defer func() { err = firstOf(err, field.Close()) }()
	heatOff(ctx, field, log)

	if _, err := os.Stat(m.Telemetry.Journal); errors.Is(err, fs.ErrNotExist) {
		fmt.Fprintln(stderr, "First start of this machine. Before heat is used:")
		printCautions(stderr)
	}
	keep, restored, err := openJournal(ctx, m.Telemetry.Journal, journal.Config{SampleS: float64(m.Telemetry.EveryS), MachineText: m.Text,
		AirW: float64(m.Heaters.Air.PowerW), BaseW: float64(m.Heaters.Radiant.PowerW), LimitBytes: int64(m.Telemetry.JournalLimitMB) << 20, Version: versionText(), Log: log})
	if err != nil {
		return err
	}
	defer func() { err = firstOf(err, keep.Close()) }()
	restored.Today, restored.TodayS = today(time.Now())
	restored.TodayS *= scale
	core, err := control.New(m, restored)
	if err != nil {
		return err
	}
	runner := control.NewRunner(field, clock, core)
	runner.Log = log
	inReal := func(s profiles.Seconds) time.Duration {
		return time.Duration(float64(s) / scale * float64(time.Second))
	}
	if practice == nil { // in practice time waits for a slow computer
		runner.Monitor = control.NewMonitor(field, inReal(m.Limits.ScanLateS), inReal(m.Scan.PeriodS), log)
	}
	findRecipe := recipesIn(o.recipes)
	runner.Recipes = func(name string) (*profiles.Recipe, error) {
		r, err := findRecipe(name)
		if err != nil {
			return nil, err
		}
		if text, err := os.ReadFile(r.File); err == nil {
			keep.KeepText(string(text))
		}
		return r, profiles.Fit(r, m)
	}
	runner.Preflight = foresees(m, log)
	lessons, err := newLessonBook(ctx, m, keep, runner.Post, log)
	if err != nil {
		return err
	}
	defer lessons.close()
	runner.Lessons = lessons.For
	latches, err := keep.Latches(ctx)
	if err != nil {
		return err
	}
	next := newNextBatches(latches[nextBatchLatch], keep.LastBatchID(), m.Bed, runner.Post, keep, log)
	defer next.close()
	var work sync.WaitGroup
	defer work.Wait()
	kept := newMemoryKeeper(keep, core, restored, log)
	defer kept.close()
	runner.Latches = kept.put
	recorder := newRecorder(core, keep.KeepTape, false, log)
	defer recorder.close()
	runner.Tape = recorder

	runner.Sinks = []control.Sink{keep, kept, &eventLog{log: log}, lessons, next}
	if practice != nil {
		runner.Sinks = append(runner.Sinks, practice)
		fmt.Fprintf(stdout, "Simulated machine, %g times faster than life. Open http://%s in a browser; Ctrl-C ends it.\n", scale, m.Telemetry.Listen)
	}
	manager := newNotifier(m, log)
	if manager != nil {
		runner.Sinks = append(runner.Sinks, manager)
	}
	var mqtt *telemetry.MQTT
	if m.Telemetry.MQTT != nil && practice == nil { // no broker is to take played figures for a machine's
		if mqtt, err = newMQTT(m, keep, log); err != nil {
			return err
		}
		defer mqtt.Close()
		runner.Sinks = append(runner.Sinks, mqtt)
	}
	proofs := newProofBook(ctx, m, keep, log)
	if bench != "" {
		log.Warn("commissioning is not asked for", "why", bench)
	} else {
		proofs.ask(ctx, uncommissioned(m, keep))
	}
	board := newComputer(os.DirFS("/"), filepath.Dir(m.Telemetry.Journal), log)
	runner.Bars = func() control.Bar {
		bar := proofs.Bar()
		bar.Computer = board.Now()
		return bar
	}
	byItself := newAutomaticProofs(proofs)
	defer byItself.close()
	runner.Sinks = append(runner.Sinks, byItself)
	metrics := telemetry.NewMetrics(telemetry.MetricsConfig{States: batch.Names(), Buses: func() []telemetry.BusStat { return busStats(field) }, Drops: dropsOf(keep, mqtt),
		Forced: func() telemetry.Forced { return forcedBy(runner.Monitor) }, Barred: func() bool { return proofs.Bar().Charge != "" }})
	shop, err := newHouse(m, o.recipes, restored.Today, bench, practice != nil || scale > 1, scale)
	if err != nil {
		return err
	}
	accounts := access.Open(access.FileOf(m.Telemetry.Journal), log)
	proxies, names, err := accessOf(m)
	if err != nil {
		return err
	}
	api := panel.New(panel.Config{Operator: runner, Batches: keep, History: keep, Proofs: proofs, Shop: shop, Learning: lessons, Folder: &recipeFolder{dir: o.recipes, m: m, now: time.Now}, Next: next, Reports: pageReports{keep.Reader}, Preflight: flies(runner.Recipes, lessons), Metrics: metrics.Handler(),
		Accounts: accounts, Audit: keep, Remote: m.Access.Remote, Names: names, Proxies: proxies, Log: log})
	runner.Sinks = append(runner.Sinks, metrics, api)
	listeners, err := listenFor(m)
	if err != nil {
		return err
	}
	apiCtx, stopAPI := context.WithCancel(context.WithoutCancel(ctx))
	work.Go(func() {
		if err := api.Serve(apiCtx, listeners...); err != nil {
			log.Error("the local API has ended", "err", err)
		}
	})
	defer stopAPI()
	work.Go(func() { proofs.watch(apiCtx) })
	work.Go(func() { board.watch(apiCtx) })
	work.Go(func() { checkJournal(apiCtx, m.Telemetry.Journal, log) })
	log.Info("serving", "address", m.Telemetry.Listen, "view", m.Access.View, "passwords", accounts.Asked(), "time_scale", scale)

	var punctual *punctuality
	if o.forS > 0 {
		punctual = newPunctuality()
		runner.Sinks = append(runner.Sinks, punctual)
		var cancel context.CancelFunc
		ctx, cancel = context.WithCancel(ctx) // an end like any other, not an error
		defer cancel()
		defer time.AfterFunc(time.Duration(o.forS*float64(time.Second)), cancel).Stop()
	}
	err = runner.Run(ctx)
	manager.stopping()
	log.Info("heat is written off; closing")
	if punctual != nil {
		punctual.print(stdout)
	}
	return err
}

// today is the date, and how long the day goes on yet, s.
func today(now time.Time) (date string, leftS float64) {
	midnight := time.Date(now.Year(), now.Month(), now.Day()+1, 0, 0, 0, 0, now.Location())
	return now.Format(time.DateOnly), midnight.Sub(now).Seconds()
}

func firstOf(a, b error) error {
	if a != nil {
		return a
	}
	return b
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

func seconds(s profiles.Seconds) time.Duration {
	return time.Duration(float64(s) * float64(time.Second))
}

// listenAddress is the file's address as the panel writes it.
func listenAddress(m *profiles.Machine) string {
	if strings.HasPrefix(m.Telemetry.Listen, "/") {
		return "unix:" + m.Telemetry.Listen
	}
	return m.Telemetry.Listen
}

package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/batch"
	"drumwright/control/plant/registers"
	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/io/telemetry"
	"drumwright/profiles"
)

type daysOptions struct {
	first         int // days that were played before, for what happens on which
	days, batches int
	nightH        float64
}

// What happens on which day, and how often replies are lost (common practice, no
// source).
const (
	faultEvery   = 5
	stallAfterS  = 240.0 // after the first charge
	outageEvery  = 3
	outageBeginS = 600.0
	outageS      = 3600.0
	lostReplies  = 0.005
)

// daysResult is what came of the days.
type daysResult struct {
	Days       int      `json:"days"`
	SimulatedS float64  `json:"simulated_s"`
	Scans      uint64   `json:"scans"`
	Overruns   uint64   `json:"overruns"`
	Roasted    int      `json:"roasted"`      // as the machine saw them
	Kept       int      `json:"kept"`         // of these, whole in the journal
	Trips      int      `json:"trips"`        // on days with a fault
	KeptTrips  int      `json:"kept_trips"`   // in the journal
	Wrong      []string `json:"wrong"`        // what should not have been
	HeapKiB    []int    `json:"heap_kib"`     // in use after each day, collected
	Goroutines []int    `json:"goroutines"`   // after each day
	JournalKiB []int64  `json:"journal_kib"`  // after each day
	Failures   uint64   `json:"failures"`     // transactions that the disk did not take at once
	WorstWaitS float64  `json:"worst_wait_s"` // of a transaction, in real time
	WallS      float64  `json:"wall_s"`
}

func runDays(ctx context.Context, o *campaignOptions, stdout io.Writer) error {
	d := o.days
	if d.days < 1 || d.days > 1000 || d.batches < 1 || d.batches > 50 || !(d.nightH >= 0 && d.nightH <= 24) {
		return exitError{codeInput, errors.New("--days is 1 to 1000, --batches 1 to 50, --night 0 to 24")}
	}
	bench, err := benchFor(o.machine, o.recipe, o.seed)
	if err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "drumwright-days-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	res, err := playDays(ctx, d, o.seed, bench.Machine, bench.Recipe, filepath.Join(folder, "drumwright.db"))
	if err != nil {
		return err
	}
	if o.asJSON {
		enc := json.NewEncoder(stdout)
		enc.SetIndent("", "  ")
		err = enc.Encode(res)
	} else {
		err = printDays(stdout, res)
	}
	if err == nil && len(res.Wrong) > 0 {
		err = exitError{codeFailed, fmt.Errorf("%d things are wrong", len(res.Wrong))}
	}
	return err
}

func printDays(w io.Writer, r *daysResult) error {
	last := len(r.HeapKiB) - 1
	fmt.Fprintf(w, "%d days, %.0f h of the machine in %.0f s: %d scans, %d missed\n", r.Days, r.SimulatedS/3600, r.WallS, r.Scans, r.Overruns)
	fmt.Fprintf(w, "%d batches roasted, %d whole in the journal; %d trips on days with a fault, %d in the journal\n", r.Roasted, r.Kept, r.Trips, r.KeptTrips)
	fmt.Fprintf(w, "memory %d KiB after the first day, %d after the last; goroutines %d and %d; journal %d and %d KiB\n",
		r.HeapKiB[0], r.HeapKiB[last], r.Goroutines[0], r.Goroutines[last], r.JournalKiB[0], r.JournalKiB[last])
	_, err := fmt.Fprintf(w, "the longest wait for the disk %.1f s, %d transactions tried again\n%s", r.WorstWaitS, r.Failures, strings.Join(append(r.Wrong, ""), "\n"))
	return err
}

// playDays plays them on one journal, with a controller begun anew each morning.
func playDays(ctx context.Context, o daysOptions, seed uint64, machine func() (*profiles.Machine, error), recipe func() (*profiles.Recipe, error), path string) (*daysResult, error) {
	begin := time.Now()
	res := &daysResult{Days: o.days, Wrong: []string{}}
	for day := range o.days {
		m, err := machine()
		if err != nil {
			return nil, err
		}
		r, err := recipe()
		if err != nil {
			return nil, err
		}
		if err := res.play(ctx, o, o.first+day, seed+uint64(day), m, r, path); err != nil {
			return nil, fmt.Errorf("day %d: %w", day+1, err)
		}
		runtime.GC()
		var mem runtime.MemStats
		runtime.ReadMemStats(&mem)
		res.HeapKiB = append(res.HeapKiB, int(mem.HeapAlloc>>10))
		res.Goroutines = append(res.Goroutines, runtime.NumGoroutine())
		info, err := os.Stat(path)
		if err != nil {
			return nil, err
		}
		res.JournalKiB = append(res.JournalKiB, info.Size()>>10)
	}
	err := res.judge(ctx, path)
	res.WallS = time.Since(begin).Seconds()
	return res, err
}

// play plays one day from the cold machine to the next morning.
func (res *daysResult) play(ctx context.Context, o daysOptions, day int, seed uint64, m *profiles.Machine, r *profiles.Recipe, path string) (err error) {
	keep, restored, err := openJournal(ctx, path, journal.Config{SampleS: float64(m.Telemetry.EveryS), Version: versionText(), Log: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	defer func() { err = firstOf(err, keep.Close()) }()
	// Nobody listens at this port of the loopback, all days long.
	mqtt, err := telemetry.NewMQTT(telemetry.MQTTConfig{Broker: "tcp://127.0.0.1:9", Site: m.About.Site, Machine: m.About.Name})
	if err != nil {
		return err
	}
	defer mqtt.Close()
	metrics := telemetry.NewMetrics(telemetry.MetricsConfig{States: batch.Names(), Stale: time.Hour})
	disk := &stuckDisk{path: path}
	defer disk.free()
	faulty := (day+1)%faultEvery == 0
	p := rehearsal.Plan{Machine: m, Recipe: r, Seed: seed, Batches: o.batches, Mismatch: registers.Drawn(seed), Sinks: []control.Sink{keep, mqtt, metrics},
		Wire: registers.WireFaults{Share: lostReplies, Seed: seed}, Restored: control.Restored{LastBatch: restored.LastBatch},
		NightS: 3600 * o.nightH, AfterS: 600, MaxS: 3600*o.nightH + 7200*float64(o.batches+1)}
	if faulty {
		p.Faults = []rehearsal.Fault{{Name: "drum_stall", AfterChargeS: stallAfterS}}
	}
	if (day+1)%outageEvery == 0 {
		p.Beside = func(x *rehearsal.Moment) bool {
			at := x.Last.ScanS
			if err == nil && at > outageBeginS && at < outageBeginS+outageS {
				err = disk.stick()
			} else if at >= outageBeginS+outageS {
				disk.free()
			}
			return err != nil
		}
	}
	got, runErr := rehearsal.Run(ctx, p)
	if err = firstOf(err, runErr); err != nil {
		return err
	}
	disk.free()
	res.SimulatedS += got.SimulatedS
	res.Scans += got.Scans
	res.Overruns += got.Overruns
	roasted := 0
	for _, b := range got.Batches {
		if !b.Aborted {
			roasted++
		}
	}
	res.Roasted += roasted
	res.Trips += len(got.Trips)
	for _, t := range got.Trips {
		if !faulty {
			res.wrong("day %d: tripped without a fault: %s at %.0f s: %s", day+1, t.Cause, t.AtS, t.Text)
		}
	}
	if faulty && (len(got.Trips) == 0 || got.HeatOn) {
		res.wrong("day %d: %d trips with a stalled drum, heat on at the end: %v", day+1, len(got.Trips), got.HeatOn)
	}
	if !faulty && roasted != o.batches {
		res.wrong("day %d: %d batches roasted, wanted %d", day+1, roasted, o.batches)
	}
	if err := keep.Close(); err != nil {
		return err
	}
	s := keep.Stats()
	res.Failures += s.Failures
	res.WorstWaitS = max(res.WorstWaitS, s.WorstCommitS)
	if s.DroppedEvents+s.DroppedSamples+s.Refused > 0 {
		res.wrong("day %d: the journal dropped %d events and %d samples, refused %d rows", day+1, s.DroppedEvents, s.DroppedSamples, s.Refused)
	}
	return nil
}

func (res *daysResult) wrong(format string, a ...any) {
	res.Wrong = append(res.Wrong, fmt.Sprintf(format, a...))
}

// A batch of some minutes has a sample each second; the estimate leaves room for
// its ends.
const fewSamples = 300

// judge holds the journal against what the machine saw.
func (res *daysResult) judge(ctx context.Context, path string) error {
	r, err := journal.OpenReader(path)
	if err != nil {
		return err
	}
	defer r.Close()
	if err := r.Check(ctx); err != nil {
		res.wrong("the journal: %v", err)
	}
	list, err := r.Batches(ctx, record.Search{})
	if err != nil {
		return err
	}
	for _, b := range list {
		whole, err := r.Batch(ctx, b.ID)
		if err != nil {
			return err
		}
		if b.Result == record.BatchDone && len(whole.Samples) >= fewSamples {
			res.Kept++
		}
	}
	trips, err := r.Trips(ctx, math.MaxInt32)
	if err != nil {
		return err
	}
	res.KeptTrips = len(trips)
	if res.Kept != res.Roasted {
		res.wrong("%d batches were roasted, %d are whole in the journal", res.Roasted, res.Kept)
	}
	if res.KeptTrips != res.Trips {
		res.wrong("%d trips, %d in the journal", res.Trips, res.KeptTrips)
	}
	// What the first days fill for good does not count; then nothing may grow.
	if n := len(res.HeapKiB); n >= 4 && res.HeapKiB[n-1] > res.HeapKiB[n/2]+4096 {
		res.wrong("memory has grown from %d to %d KiB", res.HeapKiB[n/2], res.HeapKiB[n-1])
	}
	if n := len(res.Goroutines); n >= 2 && res.Goroutines[n-1] > res.Goroutines[0]+1 {
		res.wrong("goroutines are left: %d after the first day, %d after the last", res.Goroutines[0], res.Goroutines[n-1])
	}
	return nil
}

// stuckDisk is a disk that takes nothing: another holds the lock of the database.
type stuckDisk struct {
	path string
	conn *sqlite3.Conn
}

func (s *stuckDisk) stick() error {
	if s.conn != nil {
		return nil
	}
	c, err := sqlite3.Open(s.path)
	if err != nil {
		return err
	}
	if err := c.Exec(`PRAGMA busy_timeout = 10000; BEGIN IMMEDIATE`); err != nil {
		return errors.Join(err, c.Close())
	}
	s.conn = c
	return nil
}

func (s *stuckDisk) free() {
	if s.conn != nil {
		s.conn.Close() // ends its transaction
		s.conn = nil
	}
}

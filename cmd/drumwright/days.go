package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"time"

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
	hours         float64 // of each day
}

// How often replies are lost, and when the fault and the disk's trouble of a day come
// (common practice, no source).
const (
	lostReplies  = 0.005
	faultAfterS  = 240.0 // after the first charge
	outageBeginS = 600.0
	outageS      = 3600.0
)

// trouble is what goes wrong on a day.
type trouble struct {
	fault  *dayFault // nil = none
	disk   string    // empty = none
	broker string
}

// dayFault is a fault of the machine and the causes of which one must trip first.
type dayFault struct {
	name   string
	causes []string
}

// dayFaults come in turn, one on every third day.
var dayFaults = []dayFault{
	{"drum_stall", []string{"drum_stall"}}, {"air_lost", []string{"air_lost"}}, {"bean_probe_open", []string{"bean_probe"}},
	{"estop_pressed", []string{"emergency_stop"}}, {"unit_silent", []string{"unit_lost"}}, {"cover_open", []string{"cover"}},
	{"blower_drive_fault", []string{"blower_drive"}}, {"inlet_probe_open", []string{"inlet_probe"}}, {"high_limit_open", []string{"high_limit"}},
	{"drum_drive_fault", []string{"drum_drive"}}, {"skin_probe_open", []string{"skin_probe"}},
}

// troubleOf says what goes wrong on a day, counted from 0: every second day the disk,
// every third the machine, every day the broker.
func troubleOf(day int) trouble {
	t := trouble{broker: brokerMoods[day%len(brokerMoods)]}
	if day%3 == 2 {
		t.fault = &dayFaults[day/3%len(dayFaults)]
	}
	if day%2 == 0 {
		t.disk = diskTroubles[(day/2+day/6)%len(diskTroubles)] // another one where it meets a fault
	}
	return t
}

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
	Faults     []string `json:"faults"`       // of the machine, with what tripped
	Outages    []string `json:"outages"`      // of the disk
	Wrong      []string `json:"wrong"`        // what should not have been
	HeapKiB    []int    `json:"heap_kib"`     // in use after each day, collected
	Goroutines []int    `json:"goroutines"`   // after each day
	Files      []int    `json:"files"`        // open after each day
	JournalKiB []int64  `json:"journal_kib"`  // after each day
	LostScans  uint64   `json:"lost_scans"`   // that no tape holds
	Failures   uint64   `json:"failures"`     // transactions that the disk did not take at once
	WorstWaitS float64  `json:"worst_wait_s"` // of a transaction, in real time
	WallS      float64  `json:"wall_s"`
}

// daysMemory is how much may be in use until it is collected, bytes.
const daysMemory = 256 << 20

func runDays(ctx context.Context, o *campaignOptions, stdout io.Writer) error {
	d := o.days
	if d.days < 1 || d.days > 1000 || d.batches < 1 || d.batches > 50 || !(d.hours >= 0 && d.hours <= 24) {
		return exitError{codeInput, errors.New("--days is 1 to 1000, --batches 1 to 50, --hours 0 to 24")}
	}
	// Every scan leaves copies of its record behind. To collect them all the time, with
	// every write watched meanwhile, would take longer than the scans themselves.
	defer debug.SetGCPercent(debug.SetGCPercent(-1))
	defer debug.SetMemoryLimit(debug.SetMemoryLimit(daysMemory))
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
		err = printJSON(stdout, res)
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
	fmt.Fprintf(w, "%d days, %.0f h of the machine in %.0f s: %d scans, %.1f µs each, %d missed\n", r.Days, r.SimulatedS/3600, r.WallS, r.Scans, 1e6*r.WallS/float64(r.Scans), r.Overruns)
	fmt.Fprintf(w, "%d batches roasted, %d whole in the journal; %d trips on days with a fault, %d in the journal; %d scans that no tape holds\n", r.Roasted, r.Kept, r.Trips, r.KeptTrips, r.LostScans)
	fmt.Fprintf(w, "memory %d KiB after the first day, %d after the last, at most %d; goroutines %d and %d; open files %d and %d; journal %d and %d KiB\n",
		r.HeapKiB[0], r.HeapKiB[last], slices.Max(r.HeapKiB), r.Goroutines[0], r.Goroutines[last], r.Files[0], r.Files[last], r.JournalKiB[0], r.JournalKiB[last])
	fmt.Fprintf(w, "the longest wait for the disk %.1f s, %d transactions tried again\n", r.WorstWaitS, r.Failures)
	for _, part := range [][]string{r.Faults, r.Outages, r.Wrong} {
		for _, line := range part {
			fmt.Fprintln(w, line)
		}
	}
	return nil
}

// playDays plays them on one journal, with a controller begun anew each morning.
func playDays(ctx context.Context, o daysOptions, seed uint64, machine func() (*profiles.Machine, error), recipe func() (*profiles.Recipe, error), path string) (*daysResult, error) {
	begin := time.Now()
	res := &daysResult{Days: o.days, Wrong: []string{}, Faults: []string{}, Outages: []string{}}
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
		files, err := os.ReadDir("/proc/self/fd")
		if err != nil {
			return nil, err
		}
		res.Files = append(res.Files, len(files))
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
	what := troubleOf(day)
	broker, err := newMoodyBroker(what.broker)
	if err != nil {
		return err
	}
	defer broker.close()
	mqtt, err := telemetry.NewMQTT(telemetry.MQTTConfig{Broker: "tcp://" + broker.address, Site: m.About.Site, Machine: m.About.Name})
	if err != nil {
		return err
	}
	defer mqtt.Close()
	metrics := telemetry.NewMetrics(telemetry.MetricsConfig{States: batch.Names(), Stale: time.Hour})
	var tapes *recorder
	p := rehearsal.Plan{Machine: m, Recipe: r, Seed: seed, Batches: o.batches, Mismatch: registers.Drawn(seed), Sinks: []control.Sink{keep, seldom{mqtt, m}, seldom{metrics, m}},
		Wire: registers.WireFaults{Share: lostReplies, Seed: seed}, Restored: control.Restored{LastBatch: restored.LastBatch},
		DayS: 3600 * o.hours, AfterS: 600, MaxS: 3600*o.hours + 7200*float64(o.batches+1),
		Tape: func(c *control.Controller) control.Tape {
			tapes = newRecorder(c, keep.KeepTape, true, slog.New(slog.DiscardHandler))
			return tapes
		}}
	if what.fault != nil {
		p.Faults = []rehearsal.Fault{{Name: what.fault.name, AfterChargeS: faultAfterS}}
	}
	disk := &troubledDisk{path: path}
	defer func() { err = firstOf(err, disk.mend()) }()
	if what.disk != "" {
		p.Beside = func(x *rehearsal.Moment) bool {
			switch at := x.Last.ScanS; {
			case err != nil:
			case at > outageBeginS && at < outageBeginS+outageS:
				err = disk.trouble(what.disk)
			case at >= outageBeginS+outageS && disk.undo != nil:
				if err = disk.mend(); err == nil {
					err = written(ctx, keep)
				}
			}
			return err != nil
		}
	}
	got, runErr := rehearsal.Run(ctx, p)
	if err = firstOf(err, runErr); err != nil {
		return err
	}
	if err := disk.mend(); err != nil {
		return err
	}
	if what.disk != "" {
		res.Outages = append(res.Outages, fmt.Sprintf("day %d: the disk was %s for an hour", day+1, disk.was))
	}
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
	res.explain(day, what.fault, got)
	if what.fault == nil && roasted != o.batches {
		res.wrong("day %d: %d batches roasted, wanted %d", day+1, roasted, o.batches)
	}
	tapes.close()
	res.LostScans += tapes.tape.Lost()
	if err := keep.Close(); err != nil {
		return err
	}
	s := keep.Stats()
	res.Failures += s.Failures
	res.WorstWaitS = max(res.WorstWaitS, s.WorstCommitS)
	if res.LostScans > 0 {
		res.wrong("day %d: no tape holds %d scans", day+1, tapes.tape.Lost())
	}
	if s.DroppedEvents+s.DroppedSamples+s.Refused > 0 {
		res.wrong("day %d: the journal dropped %d events and %d samples, refused %d rows", day+1, s.DroppedEvents, s.DroppedSamples, s.Refused)
	}
	return nil
}

// written waits until the journal has written again. It tries every other second of
// life, which would be an hour of the simulated day and so another outage.
func written(ctx context.Context, keep *journal.Sink) error {
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	look := time.NewTicker(5 * time.Millisecond)
	defer look.Stop()
	for before := keep.Stats().Commits; keep.Stats().Commits == before; {
		select {
		case <-look.C:
		case <-ctx.Done():
			return fmt.Errorf("the disk is well again and the journal has not written: %w", ctx.Err())
		}
	}
	return nil
}

// seldom hands on the scans with events and one of each second of the others. For a
// sink that keeps the last scan for others to fetch: in lockstep hundreds of scans go
// by in the time that somebody fetches one, and each would be copied for nobody.
type seldom struct {
	to control.Sink
	m  *profiles.Machine
}

func (s seldom) Put(r *record.Scan) {
	if each := uint64(max(1, 1/float64(s.m.Scan.PeriodS))); r.NumEvents > 0 || r.N%each == 0 {
		s.to.Put(r)
	}
}

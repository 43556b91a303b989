package journal

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

func open(t *testing.T, path string, cfg Config) *Sink {
	t.Helper()
	s, err := Open(path, cfg)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func file(t *testing.T) string { return filepath.Join(t.TempDir(), "journal.db") }

// roast puts a whole batch of 60 s with that number: warming, charge, drop,
// cooled, ready. It starts at scan n and returns the next.
func roast(s *Sink, n int, id uint64) int {
	put := func(edit func(*record.Scan)) {
		sc := recordtest.At(n)
		n++
		edit(&sc)
		s.Put(&sc)
	}
	event := func(sc *record.Scan, name string) { sc.Add(record.Event{Kind: record.Milestone, Name: name}) }
	for range 50 {
		put(func(sc *record.Scan) { sc.State, sc.Batch = "ready", record.Batch{ID: id} })
	}
	for i := range 600 {
		put(func(sc *record.Scan) {
			b := &sc.Batch
			b.ID, b.SinceS, b.TurnS, b.TurnC = id, float64(i)/10, 0, 0
			switch {
			case i == 0:
				event(sc, record.MilestoneCharge)
			case i == 500:
				event(sc, record.MilestoneDrop)
			case i == 599:
				event(sc, record.MilestoneCooled)
			}
			if i >= 200 {
				b.TurnS, b.TurnC = 20, 92
			}
			if i >= 500 {
				b.DropS, b.DropC, b.LossAtDrop = 50, 207.5, 0.125
			}
		})
	}
	for range 50 {
		put(func(sc *record.Scan) { sc.State, sc.Batch = "ready", record.Batch{} })
	}
	return n
}

func TestBatchIsKept(t *testing.T) {
	path := file(t)
	s := open(t, path, Config{MachineText: "machine: old drum\n"})
	recipe := "recipe: washed-light\n"
	hash := s.KeepText(recipe)
	s.KeepText(recipe)
	n := roast(s, 0, 41)
	if got := s.LastBatchID(); got != 41 {
		t.Errorf("last batch %d, want 41", got)
	}
	roast(s, n, 42)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if st := s.Stats(); st.Refused+st.Failures+st.DroppedEvents+st.DroppedSamples != 0 {
		t.Fatalf("rows lost: %+v", st)
	}

	r, err := OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	ctx := context.Background()
	if err := r.Check(ctx); err != nil {
		t.Fatal(err)
	}
	list, err := r.Batches(ctx, record.Search{Limit: 10})
	if err != nil || len(list) != 2 || list[0].ID != 42 || list[1].ID != 41 {
		t.Fatalf("batches %+v, %v", list, err)
	}
	if list, _ := r.Batches(ctx, record.Search{Before: 42, Limit: 10}); len(list) != 1 || list[0].ID != 41 {
		t.Errorf("batches before 42: %+v", list)
	}
	d, err := r.Batch(ctx, 41)
	if err != nil {
		t.Fatal(err)
	}
	if d.Result != record.BatchDone || d.Recipe != "washed-light" || d.TurnS != 20 || d.TurnC != 92 || d.DropS != 50 || d.DropC != 207.5 ||
		d.LossAtDrop != 0.125 || d.FirstCrackS.Known() || d.GreenKg != 1.2 {
		t.Errorf("batch kept as %+v", d.KeptBatch)
	}
	if d.Charged != "2031-03-14T09:47:02.000Z" || d.Ended != "2031-03-14T09:48:01.900Z" {
		t.Errorf("charged %s, ended %s", d.Charged, d.Ended)
	}
	if d.MachineText != "machine: old drum\n" || d.MachineHash == "" {
		t.Errorf("machine text %q, hash %q", d.MachineText, d.MachineHash)
	}
	if len(d.Samples) != 60 {
		t.Errorf("%d samples in 60 s at 1 s", len(d.Samples))
	}
	for i, k := range d.Samples {
		if want := record.Number(i); i > 0 && k.SinceChargeS != want {
			t.Fatalf("sample %d at %v s since charge", i, k.SinceChargeS)
		}
	}
	var names []string
	for _, e := range d.Events {
		names = append(names, e.Name)
	}
	if want := []string{"charge", "drop", "cooled"}; !slices.Equal(names, want) {
		t.Errorf("events %v, want %v", names, want)
	}
	// A text is kept once, and under its SHA-256 (this one computed with sha256sum).
	if got, _ := text(r.conn, `SELECT count(*) || max(text) FROM texts WHERE hash = ?`, hash); got != "1"+recipe ||
		hash != "d9e39e5fa244f2fdd37c514a6cd1b6e9bce5017bef4459183d1f95c96797f1a5" {
		t.Errorf("texts under %s: %q", hash, got)
	}
	if _, err := r.Batch(ctx, 43); !errors.Is(err, record.ErrNoBatch) {
		t.Errorf("a batch that never was: %v", err)
	}
}

// Asked of the database itself, so that no reading code can gloss over it.
func TestDoubtfulValuesAreNullNeverZero(t *testing.T) {
	path := file(t)
	s := open(t, path, Config{})
	sc := recordtest.Roasting()
	sc.Bean.EstimatorOff = true
	s.Put(&sc)
	s.Close()
	c, err := sqlite3.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	for column, want := range map[string]string{
		"bean_c": "171.4", "bean_quality": "'good'",
		"exhaust_c": "201.1", "exhaust_quality": "'uncertain'",
		"ambient_c": "NULL", "ambient_quality": "'bad'", // 21.9 is what it last showed
		"cooling_tray_c": "NULL", "cooling_tray_quality": "NULL", // the machine has none
		"true_c": "NULL", "rate_k_per_s": "NULL", "loss": "NULL",
		"mains_v": "NULL", "air_heater_current_a": "13.6", "base_permit": "0.2", "base_duty": "0.25",
	} {
		got, err := text(c, `SELECT quote(`+column+`) FROM samples`)
		if err != nil || got != want {
			t.Errorf("%s is kept as %s, %v; want %s", column, got, err, want)
		}
	}
}

func TestOpenBatchIsClosedAndNeverResumed(t *testing.T) {
	path := file(t)
	s := open(t, path, Config{})
	s.runID = 1
	sc := recordtest.Roasting() // batch 41 runs
	s.Put(&sc)
	// End as a killed process does: the rows are written, nothing is closed.
	s.open = false
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}

	s = open(t, path, Config{})
	b, err := s.Batch(context.Background(), 41)
	if err != nil || b.Result != record.BatchAborted || b.Ended != "2031-03-14T09:46:57.000Z" {
		t.Fatalf("batch after restart: %+v, %v", b.KeptBatch, err)
	}
	if s.LastBatchID() != 41 {
		t.Errorf("last batch %d", s.LastBatchID())
	}
	for i := range 100 {
		sc := recordtest.At(i + 1)
		s.Put(&sc)
	}
	sc = recordtest.At(102)
	sc.Batch = record.Batch{}
	s.Put(&sc)
	s.Close()
	r, err := OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	again, err := r.Batch(context.Background(), 41)
	if err != nil || again.KeptBatch.Result != record.BatchAborted || len(again.Samples) != 1 {
		t.Errorf("the batch of the last run went on: %+v, %d samples, %v", again.KeptBatch, len(again.Samples), err)
	}
}

func TestCloseAbortsTheOpenBatch(t *testing.T) {
	path := file(t)
	s := open(t, path, Config{})
	sc := recordtest.Roasting()
	s.Put(&sc)
	s.Close()
	r, err := OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if b, err := r.Batch(context.Background(), 41); err != nil || b.Result != record.BatchAborted {
		t.Errorf("%+v, %v", b.KeptBatch, err)
	}
}

func TestTrips(t *testing.T) {
	path := file(t)
	s := open(t, path, Config{})
	put := func(n int, kind record.EventKind, name string, tripped bool) {
		sc := recordtest.At(n)
		sc.Safety.Tripped, sc.Safety.SafeState = tripped, "S3"
		sc.Add(record.Event{Kind: kind, Name: name, Value: 405, Limit: 400})
		s.Put(&sc)
	}
	put(0, record.Trip, "inlet_too_hot", true)
	put(10, record.Trip, "air_lost", true)
	put(20, record.Reset, "inlet_too_hot", true)
	put(30, record.Trip, "drum_stopped", true)
	put(40, record.Reset, "operator", false)
	put(50, record.Trip, "air_lost", true)
	s.Close()
	r, err := OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	trips, err := r.Trips(context.Background(), 10)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, x := range trips {
		if x.Value != 405 || x.Limit != 400 || x.SafeState != "S3" || x.Batch != 41 {
			t.Errorf("trip kept as %+v", x)
		}
		got = append(got, x.Cause+" "+strings.TrimPrefix(x.ResetAt, "2031-03-14T09:"))
	}
	want := []string{"air_lost ", "drum_stopped 47:01.000Z", "air_lost 47:01.000Z", "inlet_too_hot 46:59.000Z"}
	if !slices.Equal(got, want) {
		t.Errorf("trips %q, want %q", got, want)
	}
}

// The history of alarms, newest first, across restarts and outside batches.
func TestHistoryOfAlarms(t *testing.T) {
	path := file(t)
	ctx := context.Background()
	kinds := []record.EventKind{record.Trip, record.Note, record.Acknowledged, record.Silenced, record.Accepted, record.Escalated, record.Returned,
		record.Realarm, record.Milestone, record.Reset, record.Warning, record.Cleared, record.Flood}
	for run := range 2 {
		s := open(t, path, Config{})
		for i, k := range kinds {
			sc := recordtest.At(10*i + 1000*run)
			if run == 1 {
				sc.Batch = record.Batch{}
			}
			sc.Add(record.Event{Kind: k, Name: fmt.Sprint(run), Text: "text", Value: float64(i), Limit: math.NaN()})
			s.Put(&sc)
		}
		s.Close()
	}
	r, err := OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	all, err := r.Alarms(ctx, 100)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, a := range all {
		got = append(got, a.Name+" "+a.Kind)
		if want := map[string]uint64{"0": 41}[a.Name]; a.Batch != want || a.Limit.Known() || a.Text != "text" || a.State != "roasting" || !strings.HasPrefix(a.Time, "2031-03-14T09:4") && !strings.HasPrefix(a.Time, "2031-03-14T09:5") {
			t.Errorf("%+v", a)
		}
	}
	var want []string
	for _, run := range []string{"1 ", "0 "} {
		for _, k := range []string{"flood", "cleared", "warning", "reset", "realarm", "returned", "escalated", "silenced", "acknowledged", "trip"} {
			want = append(want, run+k)
		}
	}
	if !slices.Equal(got, want) {
		t.Fatalf("%q, want %q", got, want)
	}
	if last, err := r.Alarms(ctx, 3); err != nil || len(last) != 3 || last[2].Kind != "warning" {
		t.Errorf("%+v, %v", last, err)
	}
	if none, err := r.Alarms(ctx, 0); err != nil || none == nil || len(none) != 0 {
		t.Errorf("%v, %v", none, err)
	}
}

func TestLatchesSurvive(t *testing.T) {
	path := file(t)
	s := open(t, path, Config{})
	for _, l := range [][2]string{{"high_limit", "tripped 10:04"}, {"fire", "yes"}, {"high_limit", "tripped 10:05"}, {"air", "x"}, {"air", ""}} {
		if err := s.SaveLatch(l[0], l[1]); err != nil {
			t.Fatal(err)
		}
	}
	want := "map[fire:yes high_limit:tripped 10:05]"
	if m, err := s.Latches(context.Background()); err != nil || fmt.Sprint(m) != want {
		t.Errorf("at once: %v, %v", m, err)
	}
	s.Close()
	if err := s.SaveLatch("late", "x"); err == nil || !strings.Contains(err.Error(), "closed") {
		t.Errorf("saved in a closed journal: %v", err)
	}
	s = open(t, path, Config{})
	if m, err := s.Latches(context.Background()); err != nil || fmt.Sprint(m) != want {
		t.Errorf("after a restart: %v, %v", m, err)
	}
}

func BenchmarkPut(b *testing.B) {
	s, err := Open(filepath.Join(b.TempDir(), "j.db"), Config{})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	sc := recordtest.At(0)
	b.ReportAllocs()
	for b.Loop() {
		sc.N++
		sc.ScanS += 0.1
		s.Put(&sc)
	}
}

// What a sample costs on the disk and in the writer.
func BenchmarkCommit(b *testing.B) {
	path := filepath.Join(b.TempDir(), "j.db")
	s, err := Open(path, Config{})
	if err != nil {
		b.Fatal(err)
	}
	close(s.stop)
	<-s.done
	sc := recordtest.At(0)
	n := 0
	for b.Loop() {
		sc.N++
		k := record.NewKeptSample(&sc)
		s.queue.PutSample(row{scan: sc.N, batch: 41, sample: &k})
		s.flush(nil)
		n++
	}
	s.checkpoint()
	if fi, err := os.Stat(path); err == nil {
		b.ReportMetric(float64(fi.Size())/float64(n), "B/sample")
	}
	s.Reader.Close()
	s.conn.Close()
	s.lock.Close()
}

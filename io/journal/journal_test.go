package journal

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/ncruces/go-sqlite3"
	"pgregory.net/rapid"

	"drumwright/io/point"
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
	list, err := r.Batches(ctx, 0, 10)
	if err != nil || len(list) != 2 || list[0].ID != 42 || list[1].ID != 41 {
		t.Fatalf("batches %+v, %v", list, err)
	}
	if list, _ := r.Batches(ctx, 42, 10); len(list) != 1 || list[0].ID != 41 {
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

// still opens a journal without its writer, to drive that by hand.
func still(t *testing.T, queue int) *Sink {
	t.Helper()
	s := open(t, file(t), Config{QueueLen: queue})
	close(s.stop)
	<-s.done
	t.Cleanup(func() { s.stopped = true; s.Reader.Close(); s.conn.Close(); s.lock.Close() })
	return s
}

// With nobody writing, Put returns all the same; samples go before events.
func TestPutNeverWaits(t *testing.T) {
	s := still(t, 100)
	for i := range 5000 {
		sc := recordtest.At(i)
		if i%100 == 0 && i >= 100 {
			sc.Add(record.Event{Kind: record.Note, Name: fmt.Sprint(i)})
		}
		s.Put(&sc)
	}
	// One batch row and 49 events, each with a batch row of its own: 99 that stay.
	st := s.Stats()
	if st.DroppedEvents != 0 || st.DroppedSamples != 500-1 || s.queue.Len() != 100 {
		t.Errorf("%+v, %d wait", st, s.queue.Len())
	}
	if s.flush(nil); s.failed != nil {
		t.Fatal(s.failed)
	}
	if got, _ := text(s.conn, `SELECT count(*) FROM events`); got != "49" {
		t.Errorf("%s events kept, want 49", got)
	}
}

func TestFullDisk(t *testing.T) {
	s := still(t, 4096)
	pages, err := text(s.conn, `PRAGMA page_count`)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := text(s.conn, `PRAGMA max_page_count = `+pages); err != nil {
		t.Fatal(err)
	}
	for i := range 3000 {
		sc := recordtest.At(i)
		s.Put(&sc)
	}
	pending := s.flush(nil)
	pending = s.flush(pending)
	if !errors.Is(s.failed, sqlite3.FULL) || s.Stats().Failures != 2 || len(pending) == 0 {
		t.Fatalf("failed %v, %+v, %d wait", s.failed, s.Stats(), len(pending))
	}
	if _, err := text(s.conn, `PRAGMA max_page_count = 1000000`); err != nil {
		t.Fatal(err)
	}
	if pending = s.flush(pending); s.failed != nil || len(pending) != 0 {
		t.Fatalf("after the disk has room again: %v, %d wait", s.failed, len(pending))
	}
	if got, _ := text(s.conn, `SELECT count(*) || ' ' || (max(scan) - min(scan)) FROM samples`); got != "300 2990" {
		t.Errorf("samples kept %q, want all 300", got)
	}
}

// A row that cannot be written must not hold up the rest.
func TestRefusedRowIsLeftOut(t *testing.T) {
	s := still(t, 100)
	for range 2 { // the same scan twice: the second breaks the primary key
		k := record.NewKeptSample(&record.Scan{})
		s.queue.PutSample(row{scan: 7, sample: &k})
	}
	s.KeepText("after")
	if s.flush(nil); s.failed != nil || s.Stats().Refused != 1 {
		t.Fatalf("%v, %+v", s.failed, s.Stats())
	}
	if got, _ := text(s.conn, `SELECT (SELECT count(*) FROM samples) || (SELECT count(*) FROM texts WHERE text = 'after')`); got != "11" {
		t.Errorf("kept %s, want one sample and one text", got)
	}
}

func TestOpenRefuses(t *testing.T) {
	dir := t.TempDir()
	other := filepath.Join(dir, "notes.txt")
	if err := os.WriteFile(other, []byte(strings.Repeat("not a database. ", 100)), 0o600); err != nil {
		t.Fatal(err)
	}
	taken := filepath.Join(dir, "taken.db")
	open(t, taken, Config{})
	future := filepath.Join(dir, "future.db")
	s := open(t, future, Config{})
	s.Close()
	c, err := sqlite3.Open(future)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Exec(`UPDATE meta SET value = '99'`); err != nil {
		t.Fatal(err)
	}
	c.Close()
	for _, x := range []struct{ name, path, want string }{
		{"another file", other, "not a journal"},
		{"already open", taken, "another drumwright"},
		{"from the future", future, "schema version 99, this program knows up to 1"},
		{"no folder", filepath.Join(dir, "none", "j.db"), "no such file"},
	} {
		s, err := Open(x.path, Config{})
		if err == nil {
			s.Close()
		}
		if err == nil || !strings.Contains(err.Error(), x.want) || !strings.Contains(err.Error(), x.path) {
			t.Errorf("%s: %v; want %q and the path in it", x.name, err, x.want)
		}
	}
	if _, err := OpenReader(filepath.Join(dir, "none.db")); err == nil {
		t.Error("a journal that is not there was read")
	}
	if _, err := OpenReader(future); err == nil || !strings.Contains(err.Error(), "newer") {
		t.Errorf("reading one from the future: %v", err)
	}
}

func TestDurabilitySettings(t *testing.T) {
	s := still(t, 1)
	// 2 is FULL: SQLite documentation, PRAGMA synchronous.
	if got, _ := text(s.conn, `PRAGMA synchronous`); got != "2" {
		t.Errorf("synchronous %s, want 2", got)
	}
	if got, _ := text(s.conn, `PRAGMA journal_mode`); got != "wal" {
		t.Errorf("journal mode %s", got)
	}
}

// Every temperature that a machine can have has its columns, and the code names
// no column that the schema does not have.
func TestSampleColumnsMatchTheSchema(t *testing.T) {
	s := still(t, 1)
	var have []string
	if err := s.query(context.Background(), func(st *sqlite3.Stmt) { have = append(have, st.ColumnText(0)) },
		`SELECT name FROM pragma_table_info('samples') WHERE name NOT IN ('run', 'scan', 'batch')`); err != nil {
		t.Fatal(err)
	}
	want := slices.Clone(sampleColumns)
	slices.Sort(have)
	slices.Sort(want)
	if !slices.Equal(have, want) {
		t.Errorf("schema %v\ncode %v", have, want)
	}
	if !slices.Contains(want, point.Bean.String()+"_c") {
		t.Error("no column for the bean probe")
	}
}

// What is kept comes back as it was.
func TestSampleRoundTrip(t *testing.T) {
	s := still(t, 10)
	sc := recordtest.Roasting()
	s.Put(&sc)
	if s.flush(nil); s.failed != nil {
		t.Fatal(s.failed)
	}
	d, err := s.Batch(context.Background(), 41)
	if err != nil || len(d.Samples) != 1 {
		t.Fatalf("%d samples, %v", len(d.Samples), err)
	}
	if got, want := fmt.Sprintf("%+v", d.Samples[0]), fmt.Sprintf("%+v", record.NewKeptSample(&sc)); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}

// Whatever the scan period and however late scans come, samples in a batch are
// as far apart as asked, but for two periods: each is taken between half a period
// before its time and half a period plus the lateness of its scan after it.
func TestSampleSpacing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		period := rapid.SampledFrom([]float64{0.02, 0.05, 0.1, 0.25}).Draw(t, "period")
		every := rapid.SampledFrom([]float64{0.5, 1, 2}).Draw(t, "every")
		start := rapid.Float64Range(0, 1e5).Draw(t, "start")
		late := rapid.SliceOfN(rapid.Float64Range(0, 0.9), 7, 7).Draw(t, "late")
		s := &Sink{cfg: Config{SampleS: every}, queue: record.NewQueue[row](1000)}
		scans := int(8 * every / period)
		for i := range scans {
			sc := record.Scan{ScanS: start + period*(float64(i)+late[i%7]), Batch: record.Batch{ID: 1, SinceS: 1}, Timing: record.Timing{PeriodS: period}}
			s.Put(&sc)
		}
		var last record.Number
		n := 0
		for _, r := range s.queue.Take(nil, 1000) {
			if r.sample == nil {
				continue
			}
			if gap := float64(r.sample.ScanS - last); n > 0 && (gap > every+2*period || gap < every-2*period) {
				t.Fatalf("%v s between samples, want %v", gap, every)
			}
			last = r.sample.ScanS
			n++
		}
		if n < 7 || n > 9 {
			t.Fatalf("%d samples in %v s at %v s", n, 8*every, every)
		}
	})
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

package journal

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// still opens a journal without its writer, to drive that by hand.
func still(t *testing.T, queue int) *Sink {
	t.Helper()
	s := open(t, file(t), Config{QueueLen: queue})
	close(s.stop)
	<-s.done
	t.Cleanup(func() { s.stopped = true; s.Reader.Close(); s.conn.Close(); s.lock.Close() })
	return s
}

// With nobody writing, Put returns all the same; samples and tape go before events.
func TestPutNeverWaits(t *testing.T) {
	s := still(t, 120)
	tapes := 0
	for i := range 5000 {
		sc := recordtest.At(i)
		if i%100 == 0 && i >= 100 {
			sc.Add(record.Event{Kind: record.Note, Name: fmt.Sprint(i)})
		}
		s.Put(&sc)
		if i%5 == 0 {
			s.KeepTape(41, record.TapeChunk{Seq: tapes})
			tapes++
		}
	}
	// One batch row, 49 events, each with a batch row of its own, and that samples are
	// apart: 100 that stay.
	st := s.Stats()
	if st.DroppedEvents != 0 || st.DroppedSamples < uint64(tapes)-20 || s.queue.Len() != 120 {
		t.Errorf("%+v, %d wait", st, s.queue.Len())
	}
	if s.flush(nil); s.failed != nil {
		t.Fatal(s.failed)
	}
	if got, _ := text(s.conn, `SELECT count(*) FROM events WHERE name <> 'samples-apart'`); got != "49" {
		t.Errorf("%s events kept, want 49", got)
	}
}

// A roast while the disk takes nothing for an hour: tape and events are whole, samples
// are whole at first and then ten seconds apart, and the journal says so.
func TestAnHourWithoutADisk(t *testing.T) {
	s := still(t, 0)
	const hour, perS = 3600, 2
	at := func(i int) record.Scan { return recordtest.At(i * 10 / perS) }
	put := func(i int) {
		sc := at(i)
		if sc.NumEvents = 0; i%600 == 0 {
			sc.Add(record.Event{Kind: record.Note, Name: "heard"})
		}
		s.Put(&sc)
		s.KeepTape(41, record.TapeChunk{Seq: i, Start: i == 0, Data: []byte{1}})
	}
	for i := range hour * perS {
		put(i)
	}
	pending := s.flush(nil)
	for s.queue.Len() > 0 && s.failed == nil {
		pending = s.flush(pending)
	}
	for i := range 20 * perS {
		put(hour*perS + i)
	}
	if s.flush(pending); s.failed != nil {
		t.Fatal(s.failed)
	}
	if st := s.Stats(); st.DroppedEvents+st.DroppedSamples+st.Refused > 0 {
		t.Errorf("%+v", st)
	}
	begin := at(0)
	for _, x := range []struct{ what, query, want string }{
		{"pieces of tape", `SELECT count(*) || ' ' || max(seq) FROM tapes`, fmt.Sprint((hour+20)*perS, " ", (hour+20)*perS-1)},
		{"events", `SELECT count(*) FROM events WHERE name = 'heard'`, fmt.Sprint(hour*perS/600 + 1)},
		{"what is said", `SELECT group_concat(value, ' ') FROM events WHERE name = 'samples-apart'`, "10.0 1.0"},
		{"samples of half an hour", fmt.Sprintf(`SELECT count(*) FROM samples WHERE scan_s < %v`, begin.ScanS+1800), "1800"},
		{"the longest gap", `SELECT round(max(gap)) FROM (SELECT scan_s - lag(scan_s) OVER (ORDER BY scan) AS gap FROM samples)`, "10.0"},
		{"samples after it", fmt.Sprintf(`SELECT count(*) >= 10 FROM samples WHERE scan_s >= %v`, begin.ScanS+hour), "1"},
	} {
		if got, err := text(s.conn, x.query); got != x.want || err != nil {
			t.Errorf("%s: %q, want %q; %v", x.what, got, x.want, err)
		}
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
		{"from the future", future, "schema version 99, this program knows up to 8"},
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

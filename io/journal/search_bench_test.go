package journal

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"drumwright/io/record"
)

// tenYears is a shop's journal of 20,000 batches, as far as lists and searches
// read it: batches, figures, entries, weighings and events, without samples and
// tapes, whose tables they never open.
func tenYears(b *testing.B) (_ *Reader, bytesPerBatch float64) {
	b.Helper()
	path := filepath.Join(b.TempDir(), "journal.db")
	s, err := Open(path, Config{})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	const n = 20000
	for _, q := range []string{
		`WITH RECURSIVE i(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM i WHERE n < %d)
		INSERT INTO batches SELECT n, 1, iif(n %% 50, 'done', 'aborted'), 'recipe-' || (n %% 40), '', '', 1.0,
			strftime('%%Y-%%m-%%dT%%H:%%M:%%fZ', 1.7e9 + n * 15768, 'unixepoch'), strftime('%%Y-%%m-%%dT%%H:%%M:%%fZ', 1.7e9 + n * 15768 + 900, 'unixepoch'),
			78, 92, 500, 610, 208.5 + n %% 7 / 10.0, 208.5, 0.145 FROM i`,
		`INSERT INTO figures SELECT id, 300, 200, 3000, 1200, 0.5, 1.5 FROM batches LIMIT %d`,
		`INSERT INTO entries (batch, field, item, at, who, before, after) SELECT id, 'lot', '', charged, 'Ada', '', 'Lot ' || (id / 60) FROM batches LIMIT %d`,
		`INSERT INTO entries (batch, field, item, at, who, before, after) SELECT id, 'moisture_pct', '', charged, 'Ada', '', '11.2' FROM batches LIMIT %d`,
		`INSERT INTO entries (batch, field, item, at, who, before, after) SELECT id, 'note', '1', charged, 'Ada', '', 'A little slow after the turn, chaff was emptied before; smells of jasmine ' || id FROM batches LIMIT %d`,
		`INSERT INTO entries (batch, field, item, at, who, before, after) SELECT id, 'tag', iif(id %% 100, 'shop', 'sample'), charged, 'Ada', '', 'yes' FROM batches LIMIT %d`,
		`INSERT INTO entries (batch, field, item, at, who, before, after) SELECT id, 'cup', 'total', charged, 'Ada', '', '84.5' FROM batches LIMIT %d`,
		`INSERT INTO weighings (batch, at, who, green_kg, roasted_kg) SELECT id, charged, 'Ada', 1.0, 0.855 FROM batches LIMIT %d`,
	} {
		if err := s.byWriter(func() error { return s.conn.Exec(fmt.Sprintf(q, n)) }); err != nil {
			b.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		b.Fatal(err)
	}
	fi, err := os.Stat(path)
	if err != nil {
		b.Fatal(err)
	}
	r, err := OpenReader(path)
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { r.Close() })
	return r, float64(fi.Size()) / n
}

func BenchmarkTenYears(b *testing.B) {
	r, size := tenYears(b)
	for _, x := range []struct {
		name string
		want record.Search
		rows int
	}{
		{"newest 50", record.Search{Limit: 50}, 50},
		{"page in the middle", record.Search{Before: 10000, Limit: 50}, 50},
		{"a lot", record.Search{Lot: "lot 200"}, 60},
		{"a rare tag", record.Search{Tag: "sample", Limit: 50}, 50},
		{"a recipe, 500", record.Search{Recipe: "recipe-7", Limit: 500}, 500},
		{"text of one note", record.Search{Text: "jasmine 123", Limit: 50}, 50},
		{"text of all notes", record.Search{Text: "JASMINE", Limit: 50}, 50},
		{"two letters of none", record.Search{Text: "qx", Limit: 50}, 0},
		{"text of none", record.Search{Text: "no such thing", Limit: 50}, 0},
	} {
		b.Run(x.name, func(b *testing.B) {
			for b.Loop() {
				list, err := r.Batches(context.Background(), x.want)
				if err != nil || len(list) != x.rows {
					b.Fatal(len(list), err)
				}
			}
			b.ReportMetric(size, "file-B/batch")
		})
	}
}

// What a batch of 12 minutes with its samples adds to the file.
func BenchmarkGrowth(b *testing.B) {
	path := filepath.Join(b.TempDir(), "journal.db")
	s, err := Open(path, Config{})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	size := func() float64 {
		n, err := text(s.Reader.conn, `SELECT page_count * page_size FROM pragma_page_count, pragma_page_size`)
		if err != nil {
			b.Fatal(err)
		}
		var v float64
		fmt.Sscan(n, &v)
		return v
	}
	n := 0
	for i := range 12 { // samples of 60 s each
		n = roast(s, n, uint64(i+1))
	}
	for s.queue.Len() > 0 {
		if err := s.SaveLatch("x", "y"); err != nil {
			b.Fatal(err)
		}
	}
	before := size()
	done := uint64(12)
	for b.Loop() {
		for range 12 {
			done++
			n = roast(s, n, done)
		}
		for s.queue.Len() > 0 {
			if err := s.SaveLatch("x", "y"); err != nil {
				b.Fatal(err)
			}
		}
	}
	if err := s.SaveLatch("x", "z"); err != nil {
		b.Fatal(err)
	}
	b.ReportMetric((size()-before)/float64((done-12)/12), "B/batch")
}

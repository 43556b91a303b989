// Package journaltest makes journals for tests and benchmarks. All in them is
// invented.
//
// Goroutines: none of its own.
package journaltest

import (
	"fmt"
	"testing"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// Batches is how many a journal of ten years holds, Sampled how many of the last of
// them still have their samples.
const Batches, Sampled = 20000, 200

// roastS is how long each roast takes, and how long it is watched, s.
const roastS, watchedS = 700, 720

// TenYears writes a shop's journal of ten years: batches, figures, entries, weighings
// and events of all, samples of the last, no tapes. It says how many bytes a batch
// takes that has no samples any more.
func TenYears(tb testing.TB, path string) (bareB float64) {
	tb.Helper()
	s, err := journal.Open(path, journal.Config{QueueLen: 1 << 16})
	if err != nil {
		tb.Fatal(err)
	}
	for i := range watchedS { // scans a second apart: one real batch, whose rows the others copy
		sc := recordtest.At(10 * i)
		sc.Batch = record.Batch{ID: 1, Recipe: "recipe-1", GreenKg: 1, SinceS: float64(i), TargetDropC: 208.5}
		b := &sc.Batch
		if i == 0 {
			sc.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCharge})
		}
		if i >= 80 {
			b.TurnS, b.TurnC = 78, 92
		}
		if i >= 560 {
			b.FirstCrackS = 560
		}
		if i >= roastS {
			b.DropS, b.DropC, b.LossAtDrop = roastS, 208.5, 0.145
		}
		if i == watchedS-1 {
			sc.Add(record.Event{Kind: record.Milestone, Name: record.MilestoneCooled})
		}
		s.Put(&sc)
	}
	if err := s.Close(); err != nil {
		tb.Fatal(err)
	}
	c, err := sqlite3.Open(path)
	if err != nil {
		tb.Fatal(err)
	}
	defer c.Close()
	others := fmt.Sprintf(`WITH RECURSIVE i(n) AS (SELECT 2 UNION ALL SELECT n + 1 FROM i WHERE n < %d) `, Batches)
	for _, q := range []string{
		`BEGIN`,
		others + `INSERT INTO batches (id, run, result, recipe, recipe_hash, machine_hash, green_kg, charged, ended, turn_s, turn_c, first_crack_s, drop_s, drop_c, target_drop_c, loss_at_drop)
			SELECT n, 1, iif(n % 50, 'done', 'aborted'), 'recipe-' || (n % 40), '', '', 1.0,
			strftime('%Y-%m-%dT%H:%M:%fZ', 1.7e9 + n * 15768, 'unixepoch'), strftime('%Y-%m-%dT%H:%M:%fZ', 1.7e9 + n * 15768 + 900, 'unixepoch'),
			78, 92, 560, 700, 208.5 + n % 7 / 10.0, 208.5, 0.145 FROM i`,
		others + `INSERT INTO figures SELECT n, 300, 200, 3000, 1200, 0.5, 1.5 FROM i`,
		entry(others, "'lot', ''", "'Lot ' || (n / 60)"),
		entry(others, "'moisture_pct', ''", "'11.2'"),
		entry(others, "'note', '1'", "'A little slow after the turn, chaff was emptied before; smells of jasmine ' || n"),
		entry(others, "'tag', iif(n % 100, 'shop', 'sample')", "'yes'"),
		entry(others, "'cup', 'total'", "'84.5'"),
		others + `INSERT INTO weighings (batch, at, who, green_kg, roasted_kg) SELECT n, '2026-11-25T08:00:00.000Z', 'Ada', 1.0, 0.855 FROM i`,
		others + `INSERT INTO events (run, scan, scan_s, at, batch, state, kind, name, text) SELECT 1, scan, scan_s, at, n, state, kind, name, text FROM i, events WHERE batch = 1`,
		`COMMIT`,
	} {
		if err := c.Exec(q); err != nil {
			tb.Fatal(err)
		}
	}
	pages, _, err := c.Prepare(`SELECT (page_count - freelist_count) * page_size FROM pragma_page_count, pragma_freelist_count, pragma_page_size`)
	if err != nil {
		tb.Fatal(err)
	}
	pages.Step()
	bareB = pages.ColumnFloat(0) / Batches
	if err := pages.Close(); err != nil {
		tb.Fatal(err)
	}
	// Whatever columns a sample has, its copies have too.
	if err := c.Exec(`CREATE TEMP TABLE one AS SELECT * FROM samples WHERE batch = 1`); err != nil {
		tb.Fatal(err)
	}
	for n := Batches - Sampled + 1; n <= Batches; n++ {
		if err := c.Exec(fmt.Sprintf(`UPDATE one SET batch = %d, scan = scan + 1000000; INSERT INTO samples SELECT * FROM one`, n)); err != nil {
			tb.Fatal(err)
		}
	}
	return bareB
}

// entry says what a person entered of each of the other batches.
func entry(others, fieldAndItem, value string) string {
	return others + `INSERT INTO entries (batch, field, item, at, who, before, after) SELECT n, ` + fieldAndItem + `, '2026-11-25T08:00:00.000Z', 'Ada', '', ` + value + ` FROM i`
}

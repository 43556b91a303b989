package journal

import (
	"context"
	"fmt"
	"strconv"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// SaveEntry adds what a person has entered about a batch, or corrected, and
// returns it as kept: with its number, what stood before and, for a new note,
// the note's number. It waits for the disk as SaveLatch does. There is no way to
// change a row. record.ErrNoBatch and record.ErrEntry say why it was refused.
func (s *Sink) SaveEntry(e record.Entry) (record.Entry, error) {
	err := s.byWriter(func() error { return enter(s.conn, &e) })
	return e, err
}

// Enter does what Sink.SaveEntry does in a journal that a daemon may be writing
// at the same time.
func Enter(path string, list []record.Entry) (kept []record.Entry, err error) {
	fail := func(err error) ([]record.Entry, error) { return nil, fmt.Errorf("write journal %s: %w", path, err) }
	r, err := OpenReader(path) // sees to it that it is there and of this version
	if err != nil {
		return nil, err
	}
	defer r.Close()
	if err := r.conn.Exec(`PRAGMA query_only = OFF; PRAGMA synchronous = FULL; PRAGMA foreign_keys = ON`); err != nil {
		return fail(err)
	}
	tx, err := r.conn.BeginImmediate()
	if err != nil {
		return fail(err)
	}
	defer tx.End(&err)
	for _, e := range list {
		if err := enterRow(r.conn, &e); err != nil {
			return nil, err
		}
		kept = append(kept, e)
	}
	return kept, nil
}

func enter(c *sqlite3.Conn, e *record.Entry) (err error) {
	tx, err := c.BeginImmediate()
	if err != nil {
		return err
	}
	defer tx.End(&err)
	return enterRow(c, e)
}

// enterRow adds an entry in the transaction that runs.
func enterRow(c *sqlite3.Conn, e *record.Entry) error {
	if err := e.Check(); err != nil {
		return err
	}
	e.When = e.When.UTC().Truncate(time.Millisecond)
	there, err := text(c, `SELECT id FROM batches WHERE id = ?`, e.Batch)
	if err != nil {
		return err
	}
	if there == "" {
		return fmt.Errorf("batch %d: %w", e.Batch, record.ErrNoBatch)
	}
	if e.Field == record.FieldNote {
		last, err := text(c, `SELECT coalesce(max(CAST(item AS INTEGER)), 0) FROM entries WHERE batch = ? AND field = ?`, e.Batch, e.Field)
		if err != nil {
			return err
		}
		n, _ := strconv.Atoi(last)
		switch at, _ := strconv.Atoi(e.Item); {
		case e.Item == "":
			e.Item = strconv.Itoa(n + 1)
		case at > n:
			return fmt.Errorf("%w: batch %d has no note %d: there are %d", record.ErrEntry, e.Batch, at, n)
		}
	}
	if e.Before, err = text(c, `SELECT value FROM facts WHERE batch = ? AND field = ? AND item = ?`, e.Batch, e.Field, e.Item); err != nil {
		return err
	}
	if e.Before == e.After {
		return fmt.Errorf("%w: batch %d: %s %s is already so", record.ErrEntry, e.Batch, e.Field, e.Item)
	}
	if err := once(c, `INSERT INTO entries (batch, field, item, at, who, before, after) VALUES (?, ?, ?, ?, ?, ?, ?)`,
		e.Batch, e.Field, e.Item, record.TimeString(e.When.UnixNano()), e.Who, e.Before, e.After); err != nil {
		return err
	}
	e.N = uint64(c.LastInsertRowID())
	return nil
}

// Entries lists what was entered about a batch, oldest first, and when it was
// weighed.
func (r *Reader) Entries(ctx context.Context, batch uint64) ([]record.Entry, error) {
	list := []record.Entry{}
	var bad error
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		when, err := time.Parse(time.RFC3339Nano, s.ColumnText(4))
		if err != nil && bad == nil {
			bad = fmt.Errorf("entry %d: %w", s.ColumnInt64(0), err)
		}
		list = append(list, record.Entry{N: uint64(s.ColumnInt64(0)), Batch: uint64(s.ColumnInt64(1)), Field: s.ColumnText(2), Item: s.ColumnText(3),
			When: when, Who: s.ColumnText(5), Before: s.ColumnText(6), After: s.ColumnText(7)})
	}, `SELECT id, batch, field, item, at, who, before, after FROM entries WHERE batch = ?1
		UNION ALL
		SELECT id, batch, ?2, '', at, who, coalesce(lag(kg) OVER (ORDER BY id), ''), kg
			FROM (SELECT *, printf('%.4g kg of %.4g kg', roasted_kg, green_kg) AS kg FROM weighings WHERE batch = ?1)
		ORDER BY at`, batch, record.FieldWeight)
	if err == nil {
		err = bad
	}
	return list, err
}

// sumUp works out what a batch came to, once its samples are there.
const sumUp = `INSERT INTO figures (batch, air_full_s, base_full_s, off_curve_rms_c, off_curve_most_c, air_w, base_w)
SELECT ?1, sum(air * dt), sum(base * dt), sqrt(avg(off * off)), max(abs(off)), ?2, ?3 FROM (
	SELECT iif(heat_permitted, air_duty, 0) AS air, iif(heat_permitted, base_duty, 0) AS base,
		scan_s - lag(scan_s, 1, scan_s) OVER (PARTITION BY s.run ORDER BY s.scan) AS dt,
		iif(since_charge_s >= turn_s + 60, coalesce(bean_c, bean_2_c) - target_c, NULL) AS off
	FROM samples s JOIN batches b ON b.id = s.batch WHERE s.batch = ?1 AND coalesce(since_charge_s, 0) <= coalesce(drop_s, 1e9))
WHERE true ON CONFLICT DO UPDATE SET air_full_s = excluded.air_full_s, base_full_s = excluded.base_full_s,
	off_curve_rms_c = excluded.off_curve_rms_c, off_curve_most_c = excluded.off_curve_most_c`

// givenW is unknown for a power that is not given.
func givenW(w float64) record.Number {
	if w > 0 {
		return record.Number(w)
	}
	return record.Unknown
}

package journal

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// Reader reads a journal, also while a Sink in this or another process writes.
// Any goroutine may use it.
type Reader struct {
	mu   sync.Mutex // a connection serves one at a time
	conn *sqlite3.Conn
}

// OpenReader opens a journal that exists, to read only.
func OpenReader(path string) (*Reader, error) { return openReader(path, len(migrations)) }

// openReader opens a journal whose schema has at least a version.
func openReader(path string, least int) (_ *Reader, err error) {
	fail := func(err error) (*Reader, error) { return nil, fmt.Errorf("read journal %s: %w", path, err) }
	defer gaveUp(&err)
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		return fail(fmt.Errorf("%w: name it with --journal, or start the daemon once", err))
	} else if err != nil {
		return fail(err)
	}
	// A reader of a write-ahead log takes part in its shared index and so needs
	// to write that; query_only keeps it from the data.
	c, err := sqlite3.OpenFlags(path, sqlite3.OPEN_READWRITE)
	if err != nil {
		return fail(err)
	}
	err = errors.Join(c.BusyTimeout(5*time.Second), c.Exec(`PRAGMA query_only = ON`))
	if err == nil {
		var v int
		switch v, err = version(c); {
		case err != nil:
		case v > len(migrations):
			err = tooNew(v)
		case v == 0:
			err = errors.New("it is a database, but no journal")
		case v < least:
			err = fmt.Errorf("the journal has schema version %d, this program reads %d: start the daemon once to bring it up to date", v, len(migrations))
		}
	}
	if err != nil {
		c.Close()
		return fail(err)
	}
	return &Reader{conn: c}, nil
}

// Close closes the reader.
func (r *Reader) Close() error {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.conn.Close()
}

// query runs a query and calls row for each row, until ctx ends.
func (r *Reader) query(ctx context.Context, row func(*sqlite3.Stmt), query string, args ...any) (err error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	defer gaveUp(&err)
	defer r.conn.SetInterrupt(r.conn.SetInterrupt(ctx))
	s, _, err := r.conn.Prepare(query)
	if err != nil {
		return err
	}
	defer s.Close()
	if err := bind(s, args...); err != nil {
		return err
	}
	for s.Step() {
		row(s)
	}
	return s.Err()
}

const eventColumns = `at, scan_s, state, kind, name, text, value, limit_value`

func readEvent(s *sqlite3.Stmt) record.KeptEvent {
	return record.KeptEvent{Time: s.ColumnText(0), ScanS: columnNumber(s, 1), State: s.ColumnText(2), Kind: s.ColumnText(3),
		Name: s.ColumnText(4), Text: s.ColumnText(5), Value: columnNumber(s, 6), Limit: columnNumber(s, 7)}
}

// Batch gives everything kept of one batch, or record.ErrNoBatch.
func (r *Reader) Batch(ctx context.Context, id uint64) (record.KeptDetail, error) {
	if id > math.MaxInt64 {
		return record.KeptDetail{}, record.ErrNoBatch
	}
	d := record.KeptDetail{Samples: []record.KeptSample{}, Events: []record.KeptEvent{}}
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		d.KeptBatch, d.RecipeText, d.MachineText = readBatch(s), s.ColumnText(numBatchColumns), s.ColumnText(numBatchColumns+1)
	}, `SELECT `+batchColumns+`, (SELECT text FROM texts WHERE hash = recipe_hash), (SELECT text FROM texts WHERE hash = machine_hash)`+
		fromBatches+`WHERE b.id = ?`, id)
	if err != nil {
		return d, err
	}
	if d.ID == 0 {
		return d, record.ErrNoBatch
	}
	err = r.query(ctx, func(s *sqlite3.Stmt) { d.Samples = append(d.Samples, readSample(s)) }, selectSamples, id)
	if err != nil {
		return d, err
	}
	err = r.query(ctx, func(s *sqlite3.Stmt) { d.Events = append(d.Events, readEvent(s)) },
		`SELECT `+eventColumns+` FROM events WHERE batch = ? ORDER BY id`, id)
	if err != nil {
		return d, err
	}
	d.Entries, err = r.Entries(ctx, id)
	return d, err
}

// Before gives the samples of the same run of the daemon, outside any batch, in
// the scan time, s, before a batch was charged.
func (r *Reader) Before(ctx context.Context, id uint64, seconds float64) ([]record.KeptSample, error) {
	var list []record.KeptSample
	if id > math.MaxInt64 {
		return nil, record.ErrNoBatch
	}
	err := r.query(ctx, func(s *sqlite3.Stmt) { list = append(list, readSample(s)) }, selectBefore, id, id, id, record.Number(seconds))
	return list, err
}

// Trip is one trip as kept.
type Trip struct {
	At        string
	Batch     uint64 // 0 = none
	State     string // of the batch sequence
	SafeState string
	Cause     string
	Text      string
	Value     record.Number
	Limit     record.Number
	ResetAt   string // "" = not reset
}

// Trips lists up to limit trips, newest first.
func (r *Reader) Trips(ctx context.Context, limit int) ([]Trip, error) {
	var list []Trip
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		list = append(list, Trip{At: s.ColumnText(0), Batch: uint64(s.ColumnInt64(1)), State: s.ColumnText(2), SafeState: s.ColumnText(3),
			Cause: s.ColumnText(4), Text: s.ColumnText(5), Value: columnNumber(s, 6), Limit: columnNumber(s, 7), ResetAt: s.ColumnText(8)})
	}, `SELECT at, batch, state, safe_state, cause, text, value, limit_value, reset_at FROM trips ORDER BY id DESC LIMIT ?`, limit)
	return list, err
}

// Alarms lists up to limit events of the history of alarms, newest first.
func (r *Reader) Alarms(ctx context.Context, limit int) ([]record.KeptAlarm, error) {
	list := []record.KeptAlarm{}
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		list = append(list, record.KeptAlarm{KeptEvent: readEvent(s), Batch: uint64(s.ColumnInt64(8))})
	}, `SELECT `+eventColumns+`, batch FROM events WHERE kind IN (`+alarmKinds()+`) ORDER BY id DESC LIMIT ?`, limit)
	return list, err
}

// alarmKinds is record.AlarmKinds as a list of SQL.
func alarmKinds() string {
	names := make([]string, len(record.AlarmKinds))
	for i, k := range record.AlarmKinds {
		names[i] = "'" + k.String() + "'"
	}
	return strings.Join(names, ", ")
}

// Latest is the latest date at which the journal was kept; zero for one that has
// just been made. A clock that shows less is behind.
func (r *Reader) Latest(ctx context.Context) (at time.Time, err error) {
	latest := ""
	err = r.query(ctx, func(s *sqlite3.Stmt) { latest = s.ColumnText(0) }, `SELECT coalesce(max(at), '') FROM (
		SELECT max(started) AS at FROM runs UNION ALL SELECT max(charged) FROM batches UNION ALL SELECT max(ended) FROM batches UNION ALL SELECT max(at) FROM trips)`)
	if err != nil || latest == "" {
		return at, err
	}
	return time.Parse(time.RFC3339, latest)
}

// Latches returns every latch that is set, by name.
func (r *Reader) Latches(ctx context.Context) (map[string]string, error) {
	m := make(map[string]string)
	err := r.query(ctx, func(s *sqlite3.Stmt) { m[s.ColumnText(0)] = s.ColumnText(1) }, `SELECT name, value FROM latches`)
	return m, err
}

// Check reads the whole file and reports damage. It takes seconds per hundred
// megabytes and more on an SD card.
func (r *Reader) Check(ctx context.Context) error {
	var faults []error
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		if f := s.ColumnText(0); f != "ok" {
			faults = append(faults, errors.New(f))
		}
	}, `PRAGMA integrity_check`)
	return errors.Join(append(faults, err)...)
}

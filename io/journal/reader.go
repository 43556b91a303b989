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
func OpenReader(path string) (_ *Reader, err error) {
	fail := func(err error) (*Reader, error) { return nil, fmt.Errorf("read journal %s: %w", path, err) }
	if _, err := os.Stat(path); err != nil {
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
		case v < len(migrations):
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
func (r *Reader) query(ctx context.Context, row func(*sqlite3.Stmt), query string, args ...any) error {
	r.mu.Lock()
	defer r.mu.Unlock()
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

const batchColumns = `id, result, recipe, recipe_hash, machine_hash, green_kg, charged, ended,
	turn_s, turn_c, first_crack_s, drop_s, drop_c, target_drop_c, loss_at_drop,
	(SELECT green_kg FROM weighings WHERE batch = batches.id ORDER BY weighings.id DESC LIMIT 1),
	(SELECT roasted_kg FROM weighings WHERE batch = batches.id ORDER BY weighings.id DESC LIMIT 1)`

func readBatch(s *sqlite3.Stmt) record.KeptBatch {
	k := record.KeptBatch{ID: uint64(s.ColumnInt64(0)), Result: s.ColumnText(1), Recipe: s.ColumnText(2), RecipeHash: s.ColumnText(3),
		MachineHash: s.ColumnText(4), GreenKg: columnNumber(s, 5), Charged: s.ColumnText(6), Ended: s.ColumnText(7),
		TurnS: columnNumber(s, 8), TurnC: columnNumber(s, 9), FirstCrackS: columnNumber(s, 10), DropS: columnNumber(s, 11),
		DropC: columnNumber(s, 12), TargetDropC: columnNumber(s, 13), LossAtDrop: columnNumber(s, 14),
		WeighedGreenKg: columnNumber(s, 15), WeighedKg: columnNumber(s, 16)}
	k.Derive()
	return k
}

const eventColumns = `at, scan_s, state, kind, name, text, value, limit_value`

func readEvent(s *sqlite3.Stmt) record.KeptEvent {
	return record.KeptEvent{Time: s.ColumnText(0), ScanS: columnNumber(s, 1), State: s.ColumnText(2), Kind: s.ColumnText(3),
		Name: s.ColumnText(4), Text: s.ColumnText(5), Value: columnNumber(s, 6), Limit: columnNumber(s, 7)}
}

// Batches lists up to limit batches with numbers below before, newest first;
// before 0 starts with the newest.
func (r *Reader) Batches(ctx context.Context, before uint64, limit int) ([]record.KeptBatch, error) {
	if before == 0 || before > math.MaxInt64 {
		before = math.MaxInt64
	}
	list := []record.KeptBatch{}
	err := r.query(ctx, func(s *sqlite3.Stmt) { list = append(list, readBatch(s)) },
		`SELECT `+batchColumns+` FROM batches WHERE id < ? ORDER BY id DESC LIMIT ?`, before, limit)
	return list, err
}

// Batch gives everything kept of one batch, or record.ErrNoBatch.
func (r *Reader) Batch(ctx context.Context, id uint64) (record.KeptDetail, error) {
	if id > math.MaxInt64 {
		return record.KeptDetail{}, record.ErrNoBatch
	}
	d := record.KeptDetail{Samples: []record.KeptSample{}, Events: []record.KeptEvent{}}
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		d.KeptBatch, d.RecipeText, d.MachineText = readBatch(s), s.ColumnText(17), s.ColumnText(18)
	}, `SELECT `+batchColumns+`, (SELECT text FROM texts WHERE hash = recipe_hash), (SELECT text FROM texts WHERE hash = machine_hash)
		FROM batches WHERE id = ?`, id)
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

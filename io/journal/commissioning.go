package journal

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// AddCommissioned adds findings of commissioning to a journal that a daemon may
// be writing at the same time, all or none. When it returns without an error
// they are on the disk. There is no way to change a row.
func AddCommissioned(path string, list []record.Commissioned) (err error) {
	r, err := OpenReader(path) // sees to it that it is there and of this version
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	fail := func(err error) error { return fmt.Errorf("write journal %s: %w", path, err) }
	if err := r.conn.Exec(`PRAGMA query_only = OFF; PRAGMA synchronous = FULL`); err != nil {
		return fail(err)
	}
	tx, err := r.conn.BeginImmediate()
	if err != nil {
		return fail(err)
	}
	defer tx.End(&err)
	for _, c := range list {
		err := once(r.conn, `INSERT INTO commissioning (kind, item, who, at, method, value, uncertainty, unit, valid_days, result, wiring, body, machine_hash, version, simulated)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			c.Kind, c.Item, c.Who, record.TimeString(c.When.UTC().Truncate(time.Millisecond).UnixNano()), c.Method, c.Value, c.Uncertainty, c.Unit, c.ValidDays, c.Result, c.Wiring, c.Body, c.MachineHash, c.Version, c.Simulated)
		if err != nil {
			return fail(fmt.Errorf("commissioning record %s %s: %w", c.Kind, c.Item, err))
		}
	}
	return nil
}

// Commissioned lists every finding of commissioning in the order in which they
// were kept.
func (r *Reader) Commissioned(ctx context.Context) ([]record.Commissioned, error) {
	list := []record.Commissioned{}
	var bad error
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		when, err := time.Parse(time.RFC3339Nano, s.ColumnText(4))
		if err != nil && bad == nil {
			bad = fmt.Errorf("commissioning record %d: %w", s.ColumnInt64(0), err)
		}
		list = append(list, record.Commissioned{N: uint64(s.ColumnInt64(0)), Kind: s.ColumnText(1), Item: s.ColumnText(2), Who: s.ColumnText(3), When: when,
			Method: s.ColumnText(5), Value: columnNumber(s, 6), Uncertainty: columnNumber(s, 7), Unit: s.ColumnText(8), ValidDays: s.ColumnInt(9),
			Result: s.ColumnText(10), Wiring: s.ColumnText(11), Body: s.ColumnText(12), MachineHash: s.ColumnText(13), Version: s.ColumnText(14), Simulated: s.ColumnBool(15)})
	}, `SELECT id, kind, item, who, at, method, value, uncertainty, unit, valid_days, result, wiring, body, machine_hash, version, simulated FROM commissioning ORDER BY id`)
	if err == nil {
		err = bad
	}
	return list, err
}

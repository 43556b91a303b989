package journal

import (
	"context"
	"fmt"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// SaveCommissioned adds a finding of commissioning and returns it as kept, with
// its number. It waits for the disk as SaveLatch does. There is no way to change
// a row.
func (s *Sink) SaveCommissioned(c record.Commissioned) (record.Commissioned, error) {
	c.When = c.When.UTC().Truncate(time.Millisecond)
	err := s.byWriter(func() error {
		err := once(s.conn, `INSERT INTO commissioning (kind, item, who, at, method, value, uncertainty, unit, valid_days, result, wiring, body, machine_hash, version, simulated)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			c.Kind, c.Item, c.Who, record.TimeString(c.When.UnixNano()), c.Method, c.Value, c.Uncertainty, c.Unit, c.ValidDays, c.Result, c.Wiring, c.Body, c.MachineHash, c.Version, c.Simulated)
		c.N = uint64(s.conn.LastInsertRowID())
		return err
	})
	if err != nil {
		return record.Commissioned{}, fmt.Errorf("save commissioning record %s %s: %w", c.Kind, c.Item, err)
	}
	return c, nil
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

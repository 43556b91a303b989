package journal

import (
	"context"
	"fmt"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// SaveProof adds a proof test and returns it as kept, with its number. When it
// returns without an error the row is on the disk; it waits for that as
// SaveLatch does. There is no way to change a row.
func (s *Sink) SaveProof(p record.Proof) (record.Proof, error) {
	p.When = p.When.UTC().Truncate(time.Millisecond)
	err := s.byWriter(func() error {
		err := once(s.conn, `INSERT INTO proofs (test, who, at, expected, seen, measured_s, limit_s, result, note, machine_hash, version, simulated)
			VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			p.Test, p.Who, record.TimeString(p.When.UnixNano()), p.Expected, p.Seen, p.MeasuredS, p.LimitS, p.Result, p.Note, p.MachineHash, p.Version, p.Simulated)
		p.N = uint64(s.conn.LastInsertRowID())
		return err
	})
	if err != nil {
		return record.Proof{}, fmt.Errorf("save proof test %q: %w", p.Test, err)
	}
	return p, nil
}

// Proofs lists every proof test in the order in which they were kept.
func (r *Reader) Proofs(ctx context.Context) ([]record.Proof, error) {
	list := []record.Proof{}
	var bad error
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		when, err := time.Parse(time.RFC3339Nano, s.ColumnText(3))
		if err != nil && bad == nil {
			bad = fmt.Errorf("proof test %d: %w", s.ColumnInt64(0), err)
		}
		list = append(list, record.Proof{N: uint64(s.ColumnInt64(0)), Test: s.ColumnText(1), Who: s.ColumnText(2), When: when,
			Expected: s.ColumnText(4), Seen: s.ColumnText(5), MeasuredS: columnNumber(s, 6), LimitS: columnNumber(s, 7), Result: s.ColumnText(8),
			Note: s.ColumnText(9), MachineHash: s.ColumnText(10), Version: s.ColumnText(11), Simulated: s.ColumnBool(12)})
	}, `SELECT id, test, who, at, expected, seen, measured_s, limit_s, result, note, machine_hash, version, simulated FROM proofs ORDER BY id`)
	if err == nil {
		err = bad
	}
	return list, err
}

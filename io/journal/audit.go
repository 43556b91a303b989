package journal

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

const insertAudit = `INSERT INTO audit (at, account, role, who, source, local, action, detail, accepted, reason) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`

func auditArgs(a *record.Audit) []any {
	return []any{record.TimeString(a.When.UnixNano()), a.Account, a.Role, a.Who, a.Source, a.Local, a.Action, a.Detail, a.Accepted, a.Reason}
}

// Audit keeps what somebody asked. It does not wait for the disk: a command to
// stop must not.
func (s *Sink) Audit(a record.Audit) { s.queue.PutEvent(row{audit: &a}) }

// AddAudit adds a row to a journal that a daemon may be writing at the same time.
func AddAudit(path string, a record.Audit) (err error) {
	r, err := OpenReader(path) // sees to it that it is there and of this version
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, r.Close()) }()
	err = r.conn.Exec(`PRAGMA query_only = OFF; PRAGMA synchronous = FULL`)
	if err == nil {
		err = once(r.conn, insertAudit, auditArgs(&a)...)
	}
	if err != nil {
		return fmt.Errorf("write journal %s: %w", path, err)
	}
	return nil
}

// Audits lists the rows that are searched for, newest first.
func (r *Reader) Audits(ctx context.Context, want record.AuditSearch) ([]record.Audit, error) {
	var where strings.Builder
	var args []any
	if want.Before > 0 && want.Before <= math.MaxInt64 {
		where.WriteString(` AND id < ?`)
		args = append(args, want.Before)
	}
	if !want.From.IsZero() {
		where.WriteString(` AND at >= ?`)
		args = append(args, timeText(want.From))
	}
	if !want.To.IsZero() {
		where.WriteString(` AND at < ?`)
		args = append(args, timeText(want.To))
	}
	if want.Refused {
		where.WriteString(` AND NOT accepted`)
	}
	limit := want.Limit
	if limit < 1 {
		limit = -1
	}
	list := []record.Audit{}
	var bad error
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		when, err := time.Parse(time.RFC3339Nano, s.ColumnText(1))
		if err != nil && bad == nil {
			bad = fmt.Errorf("audit row %d: %w", s.ColumnInt64(0), err)
		}
		list = append(list, record.Audit{N: uint64(s.ColumnInt64(0)), When: when, Account: s.ColumnText(2), Role: s.ColumnText(3), Who: s.ColumnText(4),
			Source: s.ColumnText(5), Local: s.ColumnBool(6), Action: s.ColumnText(7), Detail: s.ColumnText(8), Accepted: s.ColumnBool(9), Reason: s.ColumnText(10)})
	}, `SELECT id, at, account, role, who, source, local, action, detail, accepted, reason FROM audit WHERE true`+where.String()+` ORDER BY id DESC LIMIT ?`, append(args, limit)...)
	return list, errors.Join(err, bad)
}

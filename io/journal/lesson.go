package journal

import (
	"context"
	"encoding/json"
	"fmt"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// SaveLesson adds a lesson and returns it as kept, with its number. It waits for
// the disk as SaveLatch does.
func (s *Sink) SaveLesson(l record.Lesson) (record.Lesson, error) {
	l.When = l.When.UTC().Truncate(time.Millisecond)
	err := s.byWriter(func() error {
		err := once(s.conn, `INSERT INTO lessons (scope, name, at, batch, who, why, frozen, before, value) VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)`,
			l.Scope, l.Name, record.TimeString(l.When.UnixNano()), orNull(l.Batch), l.Who, l.Why, l.Frozen, l.Before, string(l.Value))
		l.N = uint64(s.conn.LastInsertRowID())
		return err
	})
	if err != nil {
		return record.Lesson{}, fmt.Errorf("save lesson of %s %q: %w", l.Scope, l.Name, err)
	}
	return l, nil
}

const lessonColumns = `id, scope, name, at, batch, who, why, frozen, before, value`

func (r *Reader) lessons(ctx context.Context, rest string, args ...any) ([]record.Lesson, error) {
	list := []record.Lesson{}
	var bad error
	err := r.query(ctx, func(s *sqlite3.Stmt) {
		when, err := time.Parse(time.RFC3339Nano, s.ColumnText(3))
		if err != nil && bad == nil {
			bad = fmt.Errorf("lesson %d: %w", s.ColumnInt64(0), err)
		}
		list = append(list, record.Lesson{N: uint64(s.ColumnInt64(0)), Scope: s.ColumnText(1), Name: s.ColumnText(2), When: when,
			Batch: uint64(s.ColumnInt64(4)), Who: s.ColumnText(5), Why: s.ColumnText(6), Frozen: s.ColumnBool(7),
			Before: uint64(s.ColumnInt64(8)), Value: json.RawMessage(s.ColumnText(9))})
	}, `SELECT `+lessonColumns+` FROM lessons `+rest, args...)
	if err == nil {
		err = bad
	}
	return list, err
}

// Lessons lists what is learned now, one for each scope and name.
func (r *Reader) Lessons(ctx context.Context) ([]record.Lesson, error) {
	return r.lessons(ctx, `WHERE id IN (SELECT max(id) FROM lessons GROUP BY scope, name) ORDER BY scope DESC, name`)
}

// LessonHistory lists up to limit lessons of a scope and name, newest first.
func (r *Reader) LessonHistory(ctx context.Context, scope, name string, limit int) ([]record.Lesson, error) {
	return r.lessons(ctx, `WHERE scope = ? AND name = ? ORDER BY id DESC LIMIT ?`, scope, name, limit)
}

// Lesson gives one lesson by its number; false if there is none.
func (r *Reader) Lesson(ctx context.Context, n uint64) (record.Lesson, bool, error) {
	list, err := r.lessons(ctx, `WHERE id = ?`, n)
	if err != nil || len(list) == 0 {
		return record.Lesson{}, false, err
	}
	return list[0], true, nil
}

// SaveWeighing adds what a batch weighed; the last of a batch counts.
func (s *Sink) SaveWeighing(w record.Weighing) error {
	err := s.byWriter(func() error {
		return once(s.conn, `INSERT INTO weighings (batch, at, who, green_kg, roasted_kg) VALUES (?, ?, ?, ?, ?)`,
			w.Batch, record.TimeString(w.When.UnixNano()), w.Who, record.Number(w.GreenKg), record.Number(w.RoastedKg))
	})
	if err != nil {
		return fmt.Errorf("save weight of batch %d: %w", w.Batch, err)
	}
	return nil
}

// SaveSeen keeps what was estimated of a batch, in JSON, until it is weighed.
func (s *Sink) SaveSeen(batch uint64, value []byte) error {
	err := s.byWriter(func() error {
		return once(s.conn, `INSERT INTO seen VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value`, batch, string(value))
	})
	if err != nil {
		return fmt.Errorf("save what was estimated of batch %d: %w", batch, err)
	}
	return nil
}

// Seen gives what SaveSeen kept of a batch; nil if it kept nothing.
func (r *Reader) Seen(ctx context.Context, batch uint64) ([]byte, error) {
	var value []byte
	err := r.query(ctx, func(s *sqlite3.Stmt) { value = []byte(s.ColumnText(0)) }, `SELECT value FROM seen WHERE batch = ?`, batch)
	return value, err
}

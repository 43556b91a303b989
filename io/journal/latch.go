package journal

import (
	"errors"
	"fmt"
	"time"

	"drumwright/io/record"
)

// SaveLatch keeps a value under a name until it is saved anew; the empty value
// removes it. When it returns nil the value is on the disk. It waits for that,
// tens of milliseconds on an SD card and sometimes more than a second: never
// call it from the scan's goroutine.
func (s *Sink) SaveLatch(name, value string) error {
	err := s.byWriter(func() error {
		if value == "" {
			return once(s.conn, `DELETE FROM latches WHERE name = ?`, name)
		}
		return once(s.conn, `INSERT INTO latches VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET value = excluded.value, at = excluded.at`,
			name, value, record.TimeString(time.Now().UnixNano()))
	})
	if err != nil {
		return fmt.Errorf("save latch %q: %w", name, err)
	}
	return nil
}

// task is something that the writer does between its transactions, for
// somebody who waits.
type task struct {
	do   func() error
	done chan error
}

// byWriter has the writer do something and waits until it is on the disk.
func (s *Sink) byWriter(do func() error) error {
	t := task{do, make(chan error, 1)}
	select {
	case s.tasks <- t:
		return <-t.done
	case <-s.done:
		return errors.New("the journal is closed")
	}
}

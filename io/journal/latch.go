package journal

import (
	"errors"
	"fmt"
	"time"

	"drumwright/io/record"
)

type latch struct {
	name, value string
	done        chan error
}

// SaveLatch keeps a value under a name until it is saved anew; the empty value
// removes it. When it returns nil the value is on the disk. It waits for that,
// tens of milliseconds on an SD card and sometimes more than a second: never
// call it from the scan's goroutine.
func (s *Sink) SaveLatch(name, value string) error {
	l := latch{name, value, make(chan error, 1)}
	select {
	case s.latches <- l:
		if err := <-l.done; err != nil {
			return fmt.Errorf("save latch %q: %w", name, err)
		}
		return nil
	case <-s.done:
		return fmt.Errorf("save latch %q: %w", name, errors.New("the journal is closed"))
	}
}

func (s *Sink) saveLatch(l latch) error {
	if l.value == "" {
		return once(s.conn, `DELETE FROM latches WHERE name = ?`, l.name)
	}
	return once(s.conn, `INSERT INTO latches VALUES (?, ?, ?) ON CONFLICT DO UPDATE SET value = excluded.value, at = excluded.at`,
		l.name, l.value, record.TimeString(time.Now().UnixNano()))
}

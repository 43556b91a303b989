package journal

import (
	"errors"
	"fmt"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

const (
	insertText = `INSERT INTO texts VALUES (?, ?) ON CONFLICT DO NOTHING`

	// The times of day and what identifies a batch are set once.
	upsertBatch = `INSERT INTO batches (id, run, result, recipe, recipe_hash, machine_hash, green_kg, charged, ended,
			turn_s, turn_c, first_crack_s, drop_s, drop_c, target_drop_c, loss_at_drop)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)
		ON CONFLICT DO UPDATE SET result = excluded.result, ended = excluded.ended, turn_s = excluded.turn_s, turn_c = excluded.turn_c,
			first_crack_s = excluded.first_crack_s, drop_s = excluded.drop_s, drop_c = excluded.drop_c,
			target_drop_c = excluded.target_drop_c, loss_at_drop = excluded.loss_at_drop`

	insertEvent = `INSERT INTO events (run, scan, scan_s, at, batch, state, kind, name, text, value, limit_value)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`

	insertTrip = `INSERT INTO trips (run, scan, at, batch, state, safe_state, cause, text, value, limit_value)
		VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`

	// A reset ends the trip it names; when nothing is tripped any more it ends all.
	resetTrips = `UPDATE trips SET reset_at = ?1 WHERE reset_at IS NULL AND (cause = ?2 OR NOT ?3)`
)

// write is the writer goroutine.
func (s *Sink) write() {
	defer close(s.done)
	wait := time.NewTimer(lossWindow)
	defer wait.Stop()
	var pending []row
	for {
		select {
		case <-s.queue.Wake():
			if s.queue.Len() < manyRows || s.failed != nil {
				continue
			}
			pending = s.timedFlush(pending, wait)
		case <-s.urgent:
			if s.failed != nil {
				continue
			}
			if left := leastWait - time.Since(s.flushed); left > 0 {
				wait.Reset(left)
				continue
			}
			pending = s.timedFlush(pending, wait)
		case <-wait.C:
			pending = s.timedFlush(pending, wait)
		case t := <-s.tasks:
			t.done <- s.alone(t.do)
		case <-s.stop:
			for pending = s.flush(pending); s.failed == nil && s.queue.Len() > 0; {
				pending = s.flush(pending)
			}
			if s.failed != nil {
				s.failed = fmt.Errorf("%d rows were not written: %w", len(pending), s.failed)
			}
			s.checkpoint() // nothing is lost if this fails: the log stays and is read at the next start
			return
		}
	}
}

// timedFlush flushes and sets the timer for the next time.
func (s *Sink) timedFlush(pending []row, wait *time.Timer) []row {
	begun := time.Now()
	pending = s.flush(pending)
	s.flushed = time.Now()
	// What is put just after this flush took the queue waits for the rest of it,
	// for the timer, and for the next one, which may take as long.
	wait.Reset(max(lossWindow-2*s.flushed.Sub(begun), leastWait))
	return pending
}

// flush writes what has waited longest in one transaction. What could not be written
// stays in pending for the next turn; meanwhile the queue fills and drops.
func (s *Sink) flush(pending []row) []row {
	pending = s.queue.Take(pending, mostRows-len(pending))
	if len(pending) == 0 {
		return pending
	}
	begun := time.Now()
	refused, ended, err := s.transaction(pending)
	took := time.Since(begun).Seconds()

	s.mu.Lock()
	if err != nil {
		s.stats.Failures++
	} else {
		s.stats.Commits++
		s.stats.Refused += refused
		s.stats.WorstCommitS = max(s.stats.WorstCommitS, took)
	}
	s.mu.Unlock()

	switch {
	case err != nil && s.failed == nil:
		s.cfg.Log.Error("journal cannot write, will try again", "err", err, "remedy", "look for a full or read-only disk")
	case err == nil && s.failed != nil:
		s.cfg.Log.Info("journal writes again")
	}
	if s.failed = err; err != nil {
		return pending
	}
	clear(pending)
	if ended {
		s.makeRoom()
		s.checkpoint()
	}
	return pending[:0]
}

// transaction writes rows, all or none. A row that the database will never take
// is left out and counted, so that it cannot hold up the others for ever.
func (s *Sink) transaction(rows []row) (refused uint64, ended bool, err error) {
	defer s.leaveNothingOpen(&err)
	defer gaveUp(&err)
	tx, err := s.conn.BeginImmediate()
	if err != nil {
		return 0, false, err
	}
	w := writer{conn: s.conn, run: s.runID, airW: givenW(s.cfg.AirW), baseW: givenW(s.cfg.BaseW)}
	defer w.close()
	for i := range rows {
		switch err := w.write(&rows[i]); {
		case errors.Is(err, sqlite3.CONSTRAINT), errors.Is(err, sqlite3.MISMATCH), errors.Is(err, sqlite3.TOOBIG):
			refused++
			s.cfg.Log.Error("journal row refused", "err", err, "scan", rows[i].scan)
		case err != nil:
			return 0, false, s.undo(tx, err)
		}
		ended = ended || rows[i].kept != nil && rows[i].kept.Result != record.BatchOpen
	}
	if err := tx.Commit(); err != nil {
		return 0, false, s.undo(tx, err)
	}
	return refused, ended, nil
}

// alone does something of the writer's that is no part of a transaction of rows.
func (s *Sink) alone(do func() error) (err error) {
	defer s.leaveNothingOpen(&err)
	return try(do)
}

// leaveNothingOpen rolls back what the database gave up in the middle of: with a
// transaction left open it would never begin another.
func (s *Sink) leaveNothingOpen(err *error) {
	if *err != nil && !s.conn.GetAutocommit() {
		*err = errors.Join(*err, try(func() error { return s.conn.Exec(`ROLLBACK`) }))
	}
}

// undo rolls back unless the database has already done so by itself, as it does
// after some errors.
func (s *Sink) undo(tx sqlite3.Txn, err error) error {
	if s.conn.GetAutocommit() {
		return err
	}
	return errors.Join(err, tx.Rollback())
}

// checkpoint folds the log into the file, so that the log does not keep the
// size of the longest batch. Readers may hold it up; then the next one does it.
func (s *Sink) checkpoint() {
	if err := s.alone(func() error { return s.conn.Exec(`PRAGMA wal_checkpoint(TRUNCATE)`) }); err != nil && !errors.Is(err, sqlite3.BUSY) {
		s.cfg.Log.Warn("journal not folded", "err", err)
	}
}

// writer holds the statements of one transaction, prepared when first needed.
type writer struct {
	conn                                    *sqlite3.Conn
	run                                     int64
	airW, baseW                             record.Number // rated
	sample, event, trip, reset, batch, tape *sqlite3.Stmt
}

func (w *writer) write(r *row) error {
	switch {
	case r.sample != nil:
		s, err := w.prepared(&w.sample, insertSample)
		if err != nil {
			return err
		}
		if err := bindSample(s, w.run, r); err != nil {
			return err
		}
		return s.Exec()
	case r.event != nil:
		return w.writeEvent(r)
	case r.kept != nil:
		s, err := w.prepared(&w.batch, upsertBatch)
		if err != nil {
			return err
		}
		k := r.kept
		err = run(s, k.ID, w.run, k.Result, k.Recipe, k.RecipeHash, k.MachineHash, k.GreenKg, k.Charged, k.Ended,
			k.TurnS, k.TurnC, k.FirstCrackS, k.DropS, k.DropC, k.TargetDropC, k.LossAtDrop)
		if err != nil || k.Result == record.BatchOpen {
			return err
		}
		return once(w.conn, sumUp, k.ID, w.airW, w.baseW)
	}
	switch {
	case r.tape != nil:
		return w.writeTape(r.batch, r.tape)
	case r.audit != nil:
		return once(w.conn, insertAudit, auditArgs(r.audit)...)
	}
	return once(w.conn, insertText, hash(r.text), r.text)
}

func (w *writer) writeEvent(r *row) error {
	e := r.event
	s, err := w.prepared(&w.event, insertEvent)
	if err != nil {
		return err
	}
	if err := run(s, w.run, r.scan, e.ScanS, e.Time, orNull(r.batch), e.State, e.Kind, e.Name, e.Text, e.Value, e.Limit); err != nil {
		return err
	}
	switch e.kind {
	case record.Trip:
		if s, err = w.prepared(&w.trip, insertTrip); err != nil {
			return err
		}
		return run(s, w.run, r.scan, e.Time, orNull(r.batch), e.State, e.safeState, e.Name, e.Text, e.Value, e.Limit)
	case record.Reset:
		if s, err = w.prepared(&w.reset, resetTrips); err != nil {
			return err
		}
		return run(s, e.Time, e.Name, e.tripped)
	}
	return nil
}

func (w *writer) prepared(s **sqlite3.Stmt, query string) (_ *sqlite3.Stmt, err error) {
	if *s == nil {
		*s, _, err = w.conn.Prepare(query)
	}
	return *s, err
}

func (w *writer) close() {
	for _, s := range []*sqlite3.Stmt{w.sample, w.event, w.trip, w.reset, w.batch, w.tape} {
		s.Close() // of nil: nothing
	}
}

package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

// The names in the table meta under which the last backup is noted.
const (
	metaBackupAt    = "backup_at"    // UTC
	metaBackupBatch = "backup_batch" // highest batch number in it
)

// Backup copies a journal, also while a daemon writes it, into one new file,
// checks the copy and notes in the journal what is backed up. It returns the
// highest batch number in the copy. There must not be a file of that name.
func Backup(ctx context.Context, path, to string) (last uint64, err error) {
	r, err := OpenReader(path)
	if err != nil {
		return 0, err
	}
	defer r.Close()
	if err := copyTo(ctx, r.conn, to); err != nil {
		return 0, fmt.Errorf("back up %s: %w", path, err)
	}
	c, err := OpenReader(to)
	if err != nil {
		return 0, err
	}
	defer c.Close()
	n, err := text(c.conn, `SELECT coalesce(max(id), 0) FROM batches WHERE result <> 'open'`)
	if err != nil {
		return 0, err
	}
	if last, err = strconv.ParseUint(n, 10, 64); err != nil {
		return 0, err
	}
	if err := r.conn.Exec(`PRAGMA query_only = OFF; PRAGMA synchronous = FULL`); err != nil {
		return last, err
	}
	for _, m := range [][2]string{{metaBackupAt, record.TimeString(time.Now().UnixNano())}, {metaBackupBatch, n}} {
		if err := once(r.conn, `INSERT INTO meta VALUES (?, ?) ON CONFLICT DO UPDATE SET value = excluded.value`, m[0], m[1]); err != nil {
			return last, fmt.Errorf("the backup %s is made and sound, but that could not be noted in %s: %w", to, path, err)
		}
	}
	return last, nil
}

// copyTo copies the database behind c into a new file that needs no other, and
// looks whether it is whole. A copy that is not is not left behind.
func copyTo(ctx context.Context, c *sqlite3.Conn, to string) (err error) {
	if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s is there already, or cannot be looked at: name another file; a backup never overwrites", to)
	}
	part := to + ".part"
	defer func() {
		for _, end := range []string{"", "-wal", "-shm", "-journal"} {
			os.Remove(part + end)
		}
	}()
	if err := os.Remove(part); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	defer c.SetInterrupt(c.SetInterrupt(ctx))
	if err := try(func() error { return c.Backup("main", "file:"+part) }); err != nil {
		return fmt.Errorf("write %s: %w", part, err)
	}
	copied, err := sqlite3.Open(part)
	if err != nil {
		return err
	}
	_, err = text(copied, `PRAGMA journal_mode = DELETE`) // one file that can be carried away
	if err == nil {
		err = whole(copied)
	}
	if err = errors.Join(err, copied.Close()); err != nil {
		return err
	}
	f, err := os.Open(part)
	if err != nil {
		return err
	}
	if err := errors.Join(f.Sync(), f.Close()); err != nil {
		return err
	}
	if err := os.Rename(part, to); err != nil {
		return err
	}
	return syncFolder(to)
}

func syncFolder(path string) error {
	d, err := os.Open(filepath.Dir(path))
	if err != nil {
		return err
	}
	return errors.Join(d.Sync(), d.Close())
}

// whole finds damage by a look at every page, without comparing the indexes.
func whole(c *sqlite3.Conn) (err error) {
	defer gaveUp(&err)
	s, _, err := c.Prepare(`PRAGMA quick_check(5)`)
	if err != nil {
		return err
	}
	defer s.Close()
	var faults []error
	for s.Step() {
		if f := s.ColumnText(0); f != "ok" {
			faults = append(faults, fmt.Errorf("damaged: %s", f))
		}
	}
	return errors.Join(append(faults, s.Err())...)
}

// QuickCheck reads the journal and reports damage, in less time than Check. The
// daemon may be writing it.
func QuickCheck(ctx context.Context, path string) error {
	r, err := OpenReader(path)
	if err != nil {
		return err
	}
	defer r.Close()
	defer r.conn.SetInterrupt(r.conn.SetInterrupt(ctx))
	return whole(r.conn)
}

// Restore puts a backup in the place of a journal that no daemon keeps. The
// backup is checked first; the journal that was there is kept beside it under
// the name that is returned, "" if there was none. What is latched stays as it is
// now: a backup does not know what has tripped since. Where that cannot be read,
// the latch unread is set.
func Restore(ctx context.Context, backup, path, unread string) (aside string, err error) {
	fail := func(err error) (string, error) { return aside, fmt.Errorf("restore %s from %s: %w", path, backup, err) }
	lock, err := lockFile(path + ".lock")
	if err != nil {
		return fail(err)
	}
	defer lock.Close()
	b, err := openReader(backup, 1) // of an older program too: the next start brings it up to date
	if err != nil {
		return "", err
	}
	defer b.Close()
	fresh := path + ".restored"
	if err := os.Remove(fresh); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fail(err)
	}
	if err := copyTo(ctx, b.conn, fresh); err != nil {
		return fail(err)
	}
	latched, err := latchesIn(ctx, path)
	if err != nil {
		latched = map[string]string{unread: "yes"}
	}
	if err := putLatches(fresh, latched); err != nil {
		return fail(err)
	}
	if _, err := os.Lstat(path); err == nil {
		aside = path + ".before-restore-" + time.Now().UTC().Format("20060102T150405Z")
		if _, err := os.Lstat(aside); err == nil {
			return fail(fmt.Errorf("%s is there already: wait a second and try again", aside))
		}
		for _, end := range []string{"-wal", "-shm", ""} {
			if err := os.Rename(path+end, aside+end); err != nil && (end == "" || !errors.Is(err, fs.ErrNotExist)) {
				return fail(err)
			}
		}
	}
	if err := os.Rename(fresh, path); err != nil {
		return fail(err)
	}
	if err := giveToFolder(path); err != nil {
		return fail(err)
	}
	return aside, syncFolder(path)
}

// latchesIn reads the latches of a journal of whatever version.
func latchesIn(ctx context.Context, path string) (map[string]string, error) {
	r, err := openReader(path, 1)
	if err != nil {
		return nil, err
	}
	defer r.Close()
	return r.Latches(ctx)
}

// putLatches replaces the latches of a journal that nobody else has open.
func putLatches(path string, latched map[string]string) (err error) {
	c, err := sqlite3.Open(path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, c.Close()) }()
	if err := c.Exec(`PRAGMA synchronous = FULL; DELETE FROM latches`); err != nil {
		return err
	}
	for name, value := range latched {
		if err := once(c, `INSERT INTO latches VALUES (?, ?, ?)`, name, value, record.TimeString(time.Now().UnixNano())); err != nil {
			return err
		}
	}
	return nil
}

// beforeMigration keeps a copy of an older journal before its schema is changed.
func (s *Sink) beforeMigration(path string) error {
	v, err := version(s.conn)
	if err != nil || v == 0 || v >= len(migrations) {
		return err
	}
	to := fmt.Sprintf("%s.schema-%d", path, v)
	if _, err := os.Lstat(to); err == nil {
		return nil // of an earlier try
	}
	if err := copyTo(context.Background(), s.conn, to); err != nil {
		return fmt.Errorf("keep a copy of the journal before its schema changes: %w", err)
	}
	if err := giveToFolder(to); err != nil {
		return err
	}
	s.cfg.Log.Info("the journal's schema is brought up to date; a copy of the old one is kept", "copy", to, "from", v, "to", len(migrations))
	return nil
}

// roomAtOnce is of how many batches the samples go at once, so that the writer
// is soon back.
const roomAtOnce = 3

// makeRoom deletes the samples of the oldest batches, and what was sampled
// before them, while the journal is larger than its limit: only such as a backup
// holds. Batches, their figures and all that was entered stay. A failure is only
// told: what is new matters more.
func (s *Sink) makeRoom() {
	if s.cfg.LimitBytes <= 0 {
		return
	}
	if err := s.alone(func() error { return s.makeRoomUpTo(s.cfg.LimitBytes) }); err != nil {
		s.cfg.Log.Warn("no room was made in the journal", "err", err)
	}
}

func (s *Sink) makeRoomUpTo(limit int64) error {
	number := func(query string, args ...any) (int64, error) {
		t, err := text(s.conn, query, args...)
		if err != nil || t == "" {
			return 0, err
		}
		return strconv.ParseInt(t, 10, 64)
	}
	backed, err := number(`SELECT value FROM meta WHERE key = '` + metaBackupBatch + `'`)
	if err != nil {
		return err
	}
	for range roomAtOnce {
		used, err := number(`SELECT (page_count - freelist_count) * page_size FROM pragma_page_count, pragma_freelist_count, pragma_page_size`)
		if err != nil || used <= limit {
			return err
		}
		oldest, err := number(`SELECT min(batch) FROM samples WHERE batch IS NOT NULL`)
		if err != nil {
			return err
		}
		if oldest == 0 || oldest > backed {
			s.cfg.Log.Warn("the journal is larger than its limit, and nothing in it is backed up that could go: nothing is deleted; run drumwright backup, or raise telemetry.journal_limit where backups are made: tapes for replay and what always stays need room too",
				"bytes", used, "limit", limit, "backed_up_to_batch", backed)
			return nil
		}
		if err := s.dropSamples(oldest); err != nil {
			return err
		}
		s.cfg.Log.Info("samples of an old batch were deleted to keep the journal within its limit; a backup holds them", "batch", oldest)
	}
	return nil
}

func (s *Sink) dropSamples(batch int64) (err error) {
	tx, err := s.conn.BeginImmediate()
	if err != nil {
		return err
	}
	defer tx.End(&err)
	if err := once(s.conn, `DELETE FROM samples WHERE batch IS NULL AND (run, scan) < (SELECT min(run), min(scan) FROM samples WHERE batch = ?1
		AND run = (SELECT min(run) FROM samples WHERE batch = ?1))`, batch); err != nil {
		return err
	}
	return once(s.conn, `DELETE FROM samples WHERE batch = ?`, batch)
}

package journal

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

func pathOf(s *Sink) string { return s.conn.Filename("main").String() }

func TestBackupAndRestore(t *testing.T) {
	ctx := context.Background()
	s := withBatches(t)
	path := pathOf(s)
	if _, err := s.SaveEntry(entry(41, record.FieldLot, "", "Gesha")); err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "copy.db")
	last, err := Backup(ctx, path, to) // while the sink is open
	if err != nil || last != 42 {
		t.Fatalf("backed up to batch %d, %v", last, err)
	}
	if _, err := Backup(ctx, path, to); err == nil || !strings.Contains(err.Error(), "never overwrites") {
		t.Errorf("backing up over a backup: %v", err)
	}
	if left, _ := filepath.Glob(to + "*"); len(left) != 1 {
		t.Errorf("the backup is %v, want one file", left)
	}
	want, err := s.Batch(ctx, 41)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.SaveEntry(entry(41, record.FieldLot, "", "after the backup")); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(ctx, to, path, "unread"); err == nil || !strings.Contains(err.Error(), "another drumwright") {
		t.Errorf("restoring under a running daemon: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	aside, err := Restore(ctx, to, path, "unread")
	if err != nil || aside == "" {
		t.Fatal(aside, err)
	}
	s = open(t, path, Config{})
	got, err := s.Batch(ctx, 41)
	if err != nil || got.Lot != "Gesha" || len(got.Samples) != len(want.Samples) || len(got.Events) != len(want.Events) {
		t.Errorf("restored: lot %q, %d samples, %v", got.Lot, len(got.Samples), err)
	}
	old, err := OpenReader(aside)
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	if d, err := old.Batch(ctx, 41); err != nil || d.Lot != "after the backup" {
		t.Errorf("what was there before is kept with lot %q, %v", d.Lot, err)
	}
}

// A backup does not know what has tripped since: bringing it back lifts no latch,
// and says so where what is latched now cannot be read.
func TestRestoreLiftsNoLatch(t *testing.T) {
	ctx := context.Background()
	for name, c := range map[string]struct {
		spoil func(path string) error
		want  map[string]string
	}{
		"as it is now": {func(string) error { return nil }, map[string]string{"latched causes": "fire_button", "beans in the drum": "yes"}},
		"damaged":      {func(path string) error { return os.WriteFile(path, []byte("rubbish"), 0o600) }, map[string]string{"unread": "yes"}},
		"gone":         {os.Remove, map[string]string{"unread": "yes"}},
	} {
		t.Run(name, func(t *testing.T) {
			s := withBatches(t)
			path, to := pathOf(s), filepath.Join(t.TempDir(), "copy.db")
			if err := s.SaveLatch("latched causes", "cover"); err != nil {
				t.Fatal(err)
			}
			if _, err := Backup(ctx, path, to); err != nil {
				t.Fatal(err)
			}
			if err := errors.Join(s.SaveLatch("latched causes", "fire_button"), s.SaveLatch("beans in the drum", "yes"), s.Close(), c.spoil(path)); err != nil {
				t.Fatal(err)
			}
			if _, err := Restore(ctx, to, path, "unread"); err != nil {
				t.Fatal(err)
			}
			s = open(t, path, Config{})
			got, err := s.Latches(ctx)
			maps.DeleteFunc(got, func(name, _ string) bool { return strings.HasPrefix(name, "settle") }) // of this test's own
			if err != nil || !maps.Equal(got, c.want) {
				t.Errorf("latched after restoring: %v, %v; want %v", got, err, c.want)
			}
		})
	}
}

// A damaged backup is found before anything is moved.
func TestDamageIsFound(t *testing.T) {
	ctx := context.Background()
	s := withBatches(t)
	path := pathOf(s)
	to := filepath.Join(t.TempDir(), "copy.db")
	if _, err := Backup(ctx, path, to); err != nil {
		t.Fatal(err)
	}
	if err := QuickCheck(ctx, to); err != nil {
		t.Fatal(err)
	}
	s.Close()
	b, err := os.ReadFile(to)
	if err != nil {
		t.Fatal(err)
	}
	for i := len(b) / 2; i < len(b)/2+3*4096; i++ {
		b[i] ^= 0xa5
	}
	if err := os.WriteFile(to, b, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := QuickCheck(ctx, to); err == nil {
		t.Error("three pages of rubbish are taken for whole")
	}
	before, _ := os.ReadFile(path)
	if _, err := Restore(ctx, to, path, "unread"); err == nil {
		t.Error("a damaged backup was restored")
	}
	if after, _ := os.ReadFile(path); !bytes.Equal(before, after) {
		t.Error("the journal was touched")
	}
}

// Room is made only of what a backup holds, and batches stay.
func TestRoomIsMadeOfWhatIsBackedUp(t *testing.T) {
	ctx := context.Background()
	var said bytes.Buffer
	s := open(t, file(t), Config{LimitBytes: 1, Log: slog.New(slog.NewTextHandler(&said, nil))})
	n := roast(s, 0, 1)
	settle(t, s)
	samples := func(id uint64) int {
		d, err := s.Batch(ctx, id)
		if err != nil {
			t.Fatal(err)
		}
		return len(d.Samples)
	}
	if got := samples(1); got != 60 {
		t.Fatalf("%d samples are left of what nobody has backed up, want 60", got)
	}
	if _, err := Backup(ctx, pathOf(s), filepath.Join(t.TempDir(), "b.db")); err != nil {
		t.Fatal(err)
	}
	roast(s, n, 2)
	settle(t, s)
	if a, b := samples(1), samples(2); a != 0 || b != 60 {
		t.Errorf("%d and %d samples left, want 0 of the one in the backup and 60 of the other", a, b)
	}
	if list, err := s.Batches(ctx, record.Search{}); err != nil || len(list) != 2 || !list[1].DropC.Known() {
		t.Errorf("batches %+v, %v: they must stay", list, err)
	}
	s.Close()
	if text := said.String(); !strings.Contains(text, "nothing is deleted; run drumwright backup, or raise telemetry.journal_limit") || !strings.Contains(text, "samples of an old batch were deleted") {
		t.Errorf("what was done is not told: %s", text)
	}
}

// A journal of an older program is copied before it is changed, and comes up to
// date with all that it held.
func TestOldJournalIsCopiedFirst(t *testing.T) {
	path := file(t)
	s := open(t, path, Config{})
	roast(s, 0, 41)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	makeOld(t, path)
	s = open(t, path, Config{})
	d, err := s.Batch(context.Background(), 41)
	if err != nil || len(d.Samples) != 60 {
		t.Errorf("%d samples after the migration, %v", len(d.Samples), err)
	}
	old, err := sqlite3.Open(path + ".schema-5")
	if err != nil {
		t.Fatal(err)
	}
	defer old.Close()
	if v, err := version(old); err != nil || v != 5 {
		t.Errorf("the copy has version %d, %v", v, err)
	}
	if list, err := s.Batches(context.Background(), record.Search{Text: "washed"}); err != nil || len(list) != 1 {
		t.Errorf("an old batch is not found by its recipe: %v, %v", list, err)
	}
	if n, err := text(s.conn, `SELECT air_full_s > 0 FROM figures WHERE batch = 41`); err != nil || n != "1" {
		t.Errorf("figures of an old batch: %q, %v", n, err)
	}
}

// makeOld brings a journal back to version 5 of its schema.
func makeOld(t *testing.T, path string) {
	t.Helper()
	c, err := sqlite3.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Exec(`DROP TRIGGER batches_found; DROP VIEW words_of_batches; DROP TABLE found; DROP TABLE audit; DROP TABLE commissioning; DROP TABLE entries; DROP TABLE facts; DROP TABLE figures; DROP INDEX batches_by_time; DROP INDEX batches_by_recipe;
		DROP TRIGGER weighings_stay; DROP TRIGGER weighings_remain; UPDATE meta SET value = '5' WHERE key = 'schema_version'`); err != nil {
		t.Fatal(err)
	}
	c.Close()
}

// A backup that an older program made can be brought back, and comes up to date at the
// next start; what is a database and no journal cannot.
func TestOldBackupIsRestored(t *testing.T) {
	path := file(t)
	s := open(t, path, Config{})
	roast(s, 0, 41)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	old := filepath.Join(t.TempDir(), "old.db")
	if _, err := Backup(context.Background(), path, old); err != nil {
		t.Fatal(err)
	}
	makeOld(t, old)
	if aside, err := Restore(context.Background(), old, path, "unread"); err != nil || aside == "" {
		t.Fatal(aside, err)
	}
	s = open(t, path, Config{})
	if d, err := s.Batch(context.Background(), 41); err != nil || len(d.Samples) != 60 {
		t.Errorf("%d samples after restoring an old backup, %v", len(d.Samples), err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(t.TempDir(), "other.db")
	c, err := sqlite3.Open(other)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(c.Exec(`CREATE TABLE customers (name TEXT)`), c.Close()); err != nil {
		t.Fatal(err)
	}
	if _, err := Restore(context.Background(), other, path, "unread"); err == nil || !strings.Contains(err.Error(), "no journal") {
		t.Errorf("a database of something else is restored: %v", err)
	}
}

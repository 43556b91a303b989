package journal

import (
	"context"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/record"
)

// Whatever has happened to the bytes of a journal, each use of it ends in answers or
// in errors: the program that controls the machine goes on, and the check at its start
// finds damage where there is any to be seen.
func TestDamagedJournalEndsNothing(t *testing.T) {
	dir := t.TempDir()
	sound := filepath.Join(dir, "sound.db")
	s, err := Open(sound, Config{})
	if err != nil {
		t.Fatal(err)
	}
	for n, id := 0, uint64(1); id <= 3; id++ {
		n = roast(s, n, id)
	}
	settle(t, s)
	// So many notes that the index of their words has pages of its own.
	if err := s.byWriter(func() error {
		return s.conn.Exec(`WITH RECURSIVE i(n) AS (SELECT 1 UNION ALL SELECT n + 1 FROM i WHERE n < 1500)
			INSERT INTO entries (batch, field, item, at, who, before, after) SELECT 1 + n % 3, 'note', n, '2026-11-25T08:00:00.000Z', 'Ada', '', 'smells of jasmine ' || n FROM i`)
	}); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(sound)
	if err != nil {
		t.Fatal(err)
	}
	const pageBytes = 4096
	pages, random := len(data)/pageBytes, rand.New(rand.NewPCG(1, 2))
	found, tries := 0, 0
	for p := 1; p < pages; p++ { // but for the first, with which nothing at all would open
		for kind := range 3 {
			if kind > 0 && p%8 > 0 || peertest.Spare(p, 16) {
				continue // a few of those will do
			}
			bad := append([]byte{}, data...)
			page := bad[p*pageBytes : (p+1)*pageBytes]
			switch kind {
			case 0: // a card that gives ones
				for i := 100; i < 2100; i++ {
					page[i] = 0xff
				}
			case 1: // bits that have flipped
				for range 40 {
					page[random.IntN(pageBytes)] ^= 1 << random.IntN(8)
				}
			case 2: // a page that was written to another place
				copy(page, data[(1+random.IntN(pages-1))*pageBytes:][:pageBytes])
			}
			path := filepath.Join(dir, "bad.db")
			if err := os.WriteFile(path, bad, 0o600); err != nil {
				t.Fatal(err)
			}
			tries++
			if use(t, path, p%8 == 0) {
				found++
			}
		}
	}
	t.Logf("of %d damaged files the check found %d", tries, found)
	if found < tries/3 { // much of a page is room where nothing stands
		t.Errorf("of %d damaged files the check found only %d", tries, found)
	}
}

// use reads a journal as a daemon does, and writes it too if that is asked for, which
// takes its time; it reports whether the check finds it damaged.
func use(t *testing.T, path string, write bool) (found bool) {
	t.Helper()
	defer func() {
		if p := recover(); p != nil {
			t.Errorf("%v", p)
		}
	}()
	ctx := context.Background()
	found = QuickCheck(ctx, path) != nil
	if r, err := OpenReader(path); err == nil {
		for id := range uint64(8) {
			_, _ = r.Batch(ctx, id)
		}
		_, _ = r.Batches(ctx, record.Search{Text: "jasmine"})
		_, _ = r.Alarms(ctx, 100)
		_, _ = r.Latches(ctx)
		_ = r.Check(ctx)
		_ = r.Close()
	}
	if !write {
		return found
	}
	s, err := Open(path, Config{LimitBytes: 1})
	if err != nil {
		return found
	}
	roast(s, 100000, 7)
	_ = s.SaveLatch("x", "y")
	_, _ = s.SaveEntry(record.Entry{Batch: 2, Field: record.FieldNote, Who: "Ada", After: "one more"})
	_ = s.Close()
	_, _ = Backup(ctx, path, path+".copy")
	os.Remove(path + ".copy")
	return found
}

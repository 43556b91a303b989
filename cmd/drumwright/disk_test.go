package main

import (
	"bytes"
	"context"
	"errors"
	"log/slog"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"

	"golang.org/x/sys/unix"

	"drumwright/control"
	"drumwright/io/journal"
	"drumwright/io/record"
)

func quiet(t *testing.T) journal.Config {
	t.Helper()
	return journal.Config{Log: slog.New(slog.DiscardHandler)}
}

// reopen opens a journal and closes it when the test ends.
func reopen(t *testing.T, path string) (*journal.Sink, control.Restored) {
	t.Helper()
	keep, r, err := openJournal(context.Background(), path, quiet(t))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { keep.Close() })
	return keep, r
}

// A journal with a latch in it, closed.
func latched(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "drumwright.db")
	keep, r, err := openJournal(context.Background(), path, quiet(t))
	if err != nil || r.Lost || r.OpenBatch || len(r.Latched) > 0 {
		t.Fatalf("a first start: %+v, %v", r, err)
	}
	if err := errors.Join(keep.SaveLatch(latchName, "fire_button drum_stall"), keep.SaveLatch(beansName, "yes"), keep.Close()); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestMemoryIsRestored(t *testing.T) {
	_, r := reopen(t, latched(t))
	if !slices.Equal(r.Latched, []string{"fire_button", "drum_stall"}) || !r.OpenBatch || r.Lost {
		t.Errorf("%+v", r)
	}
}

// Whatever has happened to the file: what was latched is either read or known to
// be lost, and a damaged file is kept to the byte.
func TestDamagedJournalIsKeptAside(t *testing.T) {
	for name, spoil := range map[string]func(b []byte) []byte{
		"no database":    func([]byte) []byte { return []byte("no database, but of some length: " + strings.Repeat("x", 4096)) },
		"first page":     func(b []byte) []byte { return append(bytes.Repeat([]byte{0xA5}, 4096), b[4096:]...) },
		"all but header": func(b []byte) []byte { return append(b[:100:100], bytes.Repeat([]byte{0xA5}, len(b)-100)...) },
		"cut short":      func(b []byte) []byte { return b[:len(b)/3] },
	} {
		t.Run(name, func(t *testing.T) {
			path := latched(t)
			whole, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			bad := spoil(whole)
			if err := os.WriteFile(path, bad, 0o600); err != nil {
				t.Fatal(err)
			}
			keep, r := reopen(t, path)
			if !r.Lost {
				t.Errorf("restored %+v of a damaged file", r)
			}
			kept, err := filepath.Glob(path + ".damaged-*")
			if err != nil || len(kept) == 0 {
				t.Fatalf("kept %v, %v", kept, err)
			}
			if got, err := os.ReadFile(kept[0]); err != nil || !bytes.Equal(got, bad) {
				t.Errorf("the damaged file was changed: %v", err)
			}
			if err := keep.SaveLatch(lostName, "yes"); err != nil {
				t.Errorf("the new journal does not keep: %v", err)
			}
		})
	}
}

// A page of the file overwritten anywhere: never a start that forgets in silence.
func TestSpoiltPageNeverForgetsInSilence(t *testing.T) {
	path := latched(t)
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(7, 7))
	for page := range len(whole) / 4096 {
		bad := slices.Clone(whole)
		for i := range 4096 {
			bad[4096*page+i] = byte(rng.Uint32())
		}
		file := filepath.Join(t.TempDir(), "drumwright.db")
		if err := errors.Join(os.WriteFile(file, bad, 0o600), os.WriteFile(file+".lock", nil, 0o600)); err != nil {
			t.Fatal(err)
		}
		keep, r, err := openJournal(context.Background(), file, quiet(t))
		if err != nil {
			continue // refused: nothing heats
		}
		if !r.Lost && (len(r.Latched) != 2 || !r.OpenBatch) {
			t.Errorf("page %d spoilt: %+v", page, r)
		}
		keep.Close()
	}
}

// A journal that has gone, or is empty, leaves its lock behind.
func TestGoneJournalIsMissed(t *testing.T) {
	for name, take := range map[string]func(string) error{
		"removed": os.Remove,
		"emptied": func(p string) error { return os.Truncate(p, 0) },
	} {
		path := latched(t)
		if err := take(path); err != nil {
			t.Fatal(err)
		}
		if _, r := reopen(t, path); !r.Lost {
			t.Errorf("%s: %+v", name, r)
		}
	}
}

// What trips while the journal cannot be used is in none that the next start reads:
// it asks for a look.
func TestStartAfterAMakeshiftAsks(t *testing.T) {
	path := latched(t)
	aside := path + ".aside"
	if err := errors.Join(os.Rename(path, aside), os.Mkdir(path, 0o700)); err != nil { // a folder is no journal, and cannot be opened
		t.Fatal(err)
	}
	t.Setenv("TMPDIR", t.TempDir())
	keep, r, err := openJournal(context.Background(), path, quiet(t))
	if err != nil || !r.Lost {
		t.Fatalf("on a makeshift: %+v, %v", r, err)
	}
	if err := errors.Join(keep.SaveLatch(latchName, "emergency_stop"), keep.Close(), os.Remove(path), os.Rename(aside, path)); err != nil {
		t.Fatal(err)
	}
	for range 2 { // until somebody has looked
		if keep, r, err = openJournal(context.Background(), path, quiet(t)); err != nil || !r.Lost || isBehind(path) {
			t.Fatalf("after a makeshift: %+v, %v", r, err)
		}
		if err := keep.Close(); err != nil {
			t.Fatal(err)
		}
	}
}

// A trip that the disk does not take is not forgotten in silence.
func TestTripThatIsNotStoredIsAskedFor(t *testing.T) {
	path := latched(t)
	m, err := machineFrom(shopFile(t))
	if err != nil {
		t.Fatal(err)
	}
	keep, r, err := openJournal(context.Background(), path, quiet(t))
	if err != nil {
		t.Fatal(err)
	}
	core, err := control.New(m, r)
	if err != nil {
		t.Fatal(err)
	}
	if err := keep.Close(); err != nil { // it takes nothing any more
		t.Fatal(err)
	}
	k := newMemoryKeeper(keep, path, core, r, slog.New(slog.DiscardHandler))
	k.put([]string{"emergency_stop"})
	k.close()
	if _, r := reopen(t, path); !r.Lost {
		t.Errorf("a trip was not stored, and nobody asks: %+v", r)
	}
}

// A journal that somebody else keeps is no reason for a makeshift.
func TestKeptJournalIsRefused(t *testing.T) {
	path := latched(t)
	reopen(t, path)
	if keep, _, err := openJournal(context.Background(), path, quiet(t)); err == nil || !strings.Contains(err.Error(), "another drumwright") {
		keep.Close()
		t.Errorf("%v", err)
	}
	if kept, _ := filepath.Glob(path + ".damaged-*"); len(kept) > 0 {
		t.Errorf("set aside: %v", kept)
	}
}

// The real program on a damaged journal: heat only after a reset by name, also
// if it is killed before that.
func TestServesOnADamagedJournal(t *testing.T) {
	t.Parallel()
	b := newBench(t, 5, "drumwright.db")
	if err := os.WriteFile(b.journal, []byte(strings.Repeat("not a database ", 1000)), 0o600); err != nil {
		t.Fatal(err)
	}
	asking := func(s seenState) bool { return s.State == "tripped" && strings.Contains(s.Next, "its memory is lost") }
	c := b.serve()
	b.awaits(c, "asking for a name", asking)
	if lost := func() []string { return column(t, b.journal, `SELECT value FROM latches WHERE name = '`+lostName+`'`) }; len(lost()) == 0 {
		b.awaits(c, "storing that", func(seenState) bool { return len(lost()) > 0 })
	}
	c.end(t, syscall.SIGKILL)
	c = b.serve()
	b.awaits(c, "asking for a name again", asking)
	for _, k := range []record.Kind{record.ResetTrip, record.Stop} {
		if a, err := b.do(record.Command{Kind: k}); err != nil || a.Accepted || !strings.Contains(a.Reason, "name") {
			t.Errorf("%s without a name: %+v, %v", k, a, err)
		}
	}
	b.tell("reset") // the button has no name either
	b.past(b.truth().TimeS + 2)
	if s, err := b.state(); err != nil || s.State != "tripped" {
		t.Errorf("after the button: %+v, %v", s, err)
	}
	b.must(record.ResetTrip)
	b.awaits(c, "running down", func(s seenState) bool { return s.State == "run-down" })
	if heat := b.truth().LastHeatS; heat > 0 {
		t.Errorf("heat at %.2f s", heat)
	}
}

// A disk that fills up in a batch stops nothing; one that cannot be written at
// the start leaves the machine with its controller, which asks by name. The
// journal is whole when there is room again.
func TestFullAndReadOnlyDisk(t *testing.T) {
	t.Parallel()
	disk := t.TempDir() // larger than what makes the gate refuse heat
	if err := unix.Mount("tmpfs", disk, "tmpfs", 0, "size=64m"); err != nil {
		t.Skipf("no disk of its own can be mounted here: %v", err)
	}
	t.Cleanup(func() { _ = unix.Unmount(disk, unix.MNT_DETACH) })
	b := newBench(t, 2, filepath.Join(disk, "drumwright.db"))
	c := b.serve()
	b.batching(c)
	filler := filepath.Join(disk, "filler")
	f, err := os.Create(filler)
	if err != nil {
		t.Fatal(err)
	}
	for err == nil {
		_, err = f.Write(make([]byte, 1<<16))
	}
	for err = nil; err == nil; { // and what a large block left
		_, err = f.Write(make([]byte, 4096))
	}
	f.Close()
	if !errors.Is(err, syscall.ENOSPC) {
		t.Fatal(err)
	}
	b.past(b.truth().TimeS + 6) // three seconds: many commits that fail
	if s, err := b.state(); err != nil || s.State != "roasting" || !s.Safety.HeatPermitted {
		t.Errorf("on a full disk: %+v, %v", s, err)
	}
	if log := c.log.String(); !strings.Contains(log, "full") && !strings.Contains(log, "not stored") && !strings.Contains(log, "journal") {
		t.Errorf("nobody was told:\n%s", log)
	}
	b.must(record.Stop)
	b.awaits(c, "running down", func(s seenState) bool { return s.State == "run-down" })
	c.end(t, syscall.SIGKILL)
	if err := os.Remove(filler); err != nil {
		t.Fatal(err)
	}
	r, err := journal.OpenReader(b.journal)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(r.Check(context.Background()), r.Close()); err != nil {
		t.Error(err)
	}

	heat := b.truth().LastHeatS
	if err := unix.Mount("tmpfs", disk, "", unix.MS_REMOUNT|unix.MS_RDONLY, ""); err != nil {
		t.Fatal(err)
	}
	c = b.serve("TMPDIR=" + b.dir)
	b.awaits(c, "asking for a name", func(s seenState) bool { return s.State == "tripped" && strings.Contains(s.Next, "its memory is lost") })
	if a, err := b.do(record.Command{Kind: record.ResetTrip}); err != nil || a.Accepted {
		t.Errorf("reset without a name: %+v, %v", a, err)
	}
	b.must(record.ResetTrip)
	b.awaits(c, "running down", func(s seenState) bool { return s.State == "run-down" })
	if now := b.truth().LastHeatS; now > heat {
		t.Errorf("heat at %.2f s", now)
	}
	c.end(t, os.Interrupt)
}

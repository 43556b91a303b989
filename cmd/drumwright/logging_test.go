package main

import (
	"bytes"
	"context"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"syscall"
	"testing"

	"drumwright/io/peertest"
)

// Priorities as in sd-daemon(3): 3 error, 4 warning, 6 informational, 7 debug.
func TestLogForTheSystemsJournal(t *testing.T) {
	var b bytes.Buffer
	log := slog.New(newJournald(&b, slog.LevelDebug)).With("machine", "wren")
	log.Debug("d")
	log.Info("i", "bus", "line")
	log.Warn("w", slog.Group("time", "level", 3))
	log.Error("e")
	want := "<7>msg=d machine=wren\n<6>msg=i machine=wren bus=line\n<4>msg=w machine=wren time.level=3\n<3>msg=e machine=wren\n"
	if got := b.String(); got != want {
		t.Errorf("got\n%swant\n%s", got, want)
	}
}

func TestSystemsJournalIsKnownByItsStream(t *testing.T) {
	f, err := os.Create(filepath.Join(t.TempDir(), "stream"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		t.Fatal(err)
	}
	s := info.Sys().(*syscall.Stat_t)
	for _, c := range []struct {
		says string
		want bool
	}{{fmt.Sprintf("%d:%d", s.Dev, s.Ino), true}, {fmt.Sprintf("%d:%d", s.Dev, s.Ino+1), false}, {"", false}} {
		t.Setenv("JOURNAL_STREAM", c.says)
		if got := toJournal(f); got != c.want {
			t.Errorf("JOURNAL_STREAM=%q: %v", c.says, got)
		}
	}
	if toJournal(&bytes.Buffer{}) {
		t.Error("a buffer is taken for the journal")
	}
}

func TestLevelOnSignals(t *testing.T) {
	var out peertest.Buffer
	log, level, err := newLog(&out, "warn")
	if err != nil {
		t.Fatal(err)
	}
	stop := obey(log, level)
	defer stop()
	debug := func() bool { return log.Enabled(context.Background(), slog.LevelDebug) }
	if debug() {
		t.Fatal("debug from the start")
	}
	for _, c := range []struct {
		signal syscall.Signal
		want   bool
	}{{syscall.SIGUSR1, true}, {syscall.SIGUSR2, false}} {
		if err := syscall.Kill(os.Getpid(), c.signal); err != nil {
			t.Fatal(err)
		}
		peertest.Eventually(t, patience, c.signal.String(), func() bool { return debug() == c.want })
	}
	if got := level.Level(); got != slog.LevelWarn {
		t.Errorf("level %v, want that of the start", got)
	}
}

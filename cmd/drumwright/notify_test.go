package main

import (
	"context"
	"errors"
	"io"
	"log/slog"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"syscall"
	"testing"
	"testing/synctest"
	"time"

	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/record"
)

// manager notes what a service manager is told.
type manager struct {
	mu   sync.Mutex
	told []string
	fail bool
}

func (m *manager) take(s string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.fail {
		return errors.New("no socket")
	}
	m.told = append(m.told, s)
	return nil
}

func (m *manager) all() string {
	m.mu.Lock()
	defer m.mu.Unlock()
	return strings.Join(m.told, "\n")
}

func told(t *testing.T, m *manager, want string, n int) {
	t.Helper()
	synctest.Wait()
	if got := strings.Count(m.all(), want); got != n {
		t.Errorf("%q was told %d times, want %d, of %q", want, got, n, m.told)
	}
}

// Readiness and signs of life come from finished scans: none before the first
// whole one, none while no scan ends.
func TestNotifier(t *testing.T) {
	machine, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	whole := func() *record.Scan {
		s := &record.Scan{State: "cold", Next: "Load a recipe."}
		for i := range s.Image.In {
			s.Image.In[i].Quality = point.Good
		}
		return s
	}
	const interval = 4 * time.Second
	synctest.Test(t, func(t *testing.T) {
		m := &manager{}
		n := newNotifierTo(machine, slog.New(slog.DiscardHandler), interval, m.take)
		blind := whole()
		blind.Image.In[point.Bean].Quality = point.Bad
		n.Put(blind)
		told(t, m, "READY=1", 0)
		n.Put(whole())
		told(t, m, "READY=1", 1)
		told(t, m, "STATUS=cold: Load a recipe.", 1)

		// Scans every 100 ms for twice the interval: a sign of life at least every
		// half of it, but not with every scan.
		before := strings.Count(m.all(), "WATCHDOG=1")
		for range 80 {
			time.Sleep(100 * time.Millisecond)
			n.Put(whole())
			synctest.Wait()
		}
		if signs := strings.Count(m.all(), "WATCHDOG=1") - before; signs < 4 || signs > 9 {
			t.Errorf("%d signs of life in two intervals", signs)
		}
		before = strings.Count(m.all(), "WATCHDOG=1")
		time.Sleep(10 * interval)
		told(t, m, "WATCHDOG=1", before)

		changed := whole()
		changed.State, changed.Next = "warming", "Wait."
		n.Put(changed)
		n.Put(changed)
		told(t, m, "STATUS=warming: Wait.", 1)
		n.Put(blind)
		told(t, m, "STATUS=not all that is needed can be read; cold", 1)
		n.stopping()
		told(t, m, "READY=1", 1)
		if last := m.told[len(m.told)-1]; !strings.HasPrefix(last, "STOPPING=1") {
			t.Errorf("last told: %q", last)
		}
	})
	// What cannot be read holds readiness up for ten seconds only.
	synctest.Test(t, func(t *testing.T) {
		m := &manager{}
		n := newNotifierTo(machine, slog.New(slog.DiscardHandler), 0, m.take)
		blind := whole()
		blind.Image.In[point.DrumStatus].Quality = point.Uncertain
		for range 100 {
			n.Put(blind)
			time.Sleep(100 * time.Millisecond)
		}
		told(t, m, "READY=1", 0)
		n.Put(blind)
		told(t, m, "READY=1", 1)
		told(t, m, "STATUS=not all that is needed can be read; cold", 1)
		told(t, m, "WATCHDOG=1", 0) // none was asked for
		n.stopping()
	})
	// A manager that cannot be told stops nobody.
	synctest.Test(t, func(t *testing.T) {
		m := &manager{fail: true}
		n := newNotifierTo(machine, slog.New(slog.DiscardHandler), interval, m.take)
		n.Put(whole())
		n.stopping()
	})
	(*notifier)(nil).stopping() // without a manager
}

// The real program and a socket that stands in for the manager's.
func TestNotifiesAManager(t *testing.T) {
	t.Parallel()
	b := newBench(t, 5, "drumwright.db")
	path := filepath.Join(b.dir, "notify")
	socket, err := net.ListenUnixgram("unixgram", &net.UnixAddr{Name: path, Net: "unixgram"})
	if err != nil {
		t.Fatal(err)
	}
	defer socket.Close()
	m := &manager{}
	go func() {
		for buf := make([]byte, 4096); ; {
			n, err := socket.Read(buf)
			if err != nil {
				return
			}
			_ = m.take(string(buf[:n]))
		}
	}()
	c := b.serve("NOTIFY_SOCKET="+path, "WATCHDOG_USEC=400000", "WATCHDOG_PID=")
	b.awaits(c, "ready", func(seenState) bool { return strings.Contains(m.all(), "READY=1") })
	signs := func() int { return strings.Count(m.all(), "WATCHDOG=1") }
	b.awaits(c, "alive", func(seenState) bool { return signs() >= 3 })
	b.awaits(c, "told", func(seenState) bool {
		return strings.Contains(m.all(), "tripped: The controller restarted with a hot machine")
	})
	if err := c.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
		t.Fatal(err)
	}
	b.past(b.truth().TimeS + 1)
	before := signs()
	b.past(b.truth().TimeS + 3)
	if after := signs(); after != before {
		t.Errorf("%d signs of life of a stopped process", after-before)
	}
	if err := c.cmd.Process.Signal(syscall.SIGCONT); err != nil {
		t.Fatal(err)
	}
	c.end(t, os.Interrupt)
	peertest.Eventually(t, patience, "word of the end", func() bool { return strings.Contains(m.all(), "STOPPING=1") })
}

// A wrong machine file ends the daemon with a code of its own, which the unit does not
// try again. It must not be 2: so ends a Go program that panics or is aborted by the
// watchdog (package runtime), and that is to be started again.
func TestWrongMachineFileIsNotTriedAgain(t *testing.T) {
	file := filepath.Join(t.TempDir(), "machine.yaml")
	if err := os.WriteFile(file, []byte("machine: {name: wren}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	const config = 78 // EX_CONFIG of sysexits.h, which systemd.exec calls CONFIG
	if code := run(context.Background(), []string{"serve", file}, nil, io.Discard, io.Discard); code != config {
		t.Errorf("serve ends with %d, want %d", code, config)
	}
	unit, err := os.ReadFile("../../deploy/systemd/drumwright.service")
	if err != nil || !strings.Contains(string(unit), "\nRestart=on-failure\n") || strings.Count(string(unit), "\nRestartPreventExitStatus=") != 1 || !strings.Contains(string(unit), "\nRestartPreventExitStatus=CONFIG\n") {
		t.Errorf("the unit restarts otherwise (%v):\n%s", err, unit)
	}
}

package main

import (
	"log/slog"
	"os"
	"strings"
	"sync"
	"time"

	"github.com/coreos/go-systemd/v22/daemon"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// readyAfter is how long the service manager waits for a machine that can be
// read as a whole before it is told that the controller is up all the same.
const readyAfter = 10 * time.Second

// neededInputs are those without which nobody would call the controller ready.
var neededInputs = [...]point.Input{point.Bean, point.InletAir, point.DrumSkin, point.EmergencyStopHealthy, point.HighLimitHealthy,
	point.ContactorClosed, point.DrumStatus, point.BlowerStatus}

// notifier tells the service manager how the controller fares. Its signs of life
// are made by finished scans and by nothing else; a goroutine of its own only
// carries them, because a socket may be full.
type notifier struct {
	send  func(string) error
	log   *slog.Logger
	every time.Duration // between signs of life; 0 = none are asked for
	needs []point.Input

	// Of the scan.
	begun, alive time.Time
	ready        bool

	mu   sync.Mutex
	todo notice
	wake chan struct{}
	done sync.WaitGroup
}

// notice is what is still to be told.
type notice struct {
	ready, alive, changed bool
	doubt                 bool // not all that is needed can be read
	state, next           string
}

// newNotifier makes a notifier, nil when no service manager listens.
func newNotifier(m *profiles.Machine, log *slog.Logger) *notifier {
	if os.Getenv("NOTIFY_SOCKET") == "" {
		return nil
	}
	interval, err := daemon.SdWatchdogEnabled(false)
	if err != nil {
		log.Warn("no signs of life for the service manager", "err", err)
	}
	return newNotifierTo(m, log, interval, func(s string) error { _, err := daemon.SdNotify(false, s); return err })
}

// newNotifierTo makes a notifier for a manager that wants a sign of life in every
// interval.
func newNotifierTo(m *profiles.Machine, log *slog.Logger, interval time.Duration, send func(string) error) *notifier {
	n := &notifier{send: send, log: log, every: interval / 4, begun: time.Now(), wake: make(chan struct{}, 1)}
	for _, i := range neededInputs {
		if m.HasIn[i] {
			n.needs = append(n.needs, i)
		}
	}
	n.done.Go(n.carry)
	return n
}

// Put takes a finished scan.
func (n *notifier) Put(s *record.Scan) {
	now, whole := time.Now(), true
	for _, i := range n.needs {
		whole = whole && s.Image.In[i].Quality == point.Good
	}
	n.mu.Lock()
	t, tell := &n.todo, false
	if !n.ready && (whole || now.Sub(n.begun) >= readyAfter) {
		n.ready, t.ready, tell = true, true, true
	}
	if doubt := n.ready && !whole; s.State != t.state || s.Next != t.next || doubt != t.doubt {
		t.state, t.next, t.doubt, t.changed, tell = s.State, s.Next, doubt, true, true
	}
	if n.every > 0 && now.Sub(n.alive) >= n.every {
		n.alive, t.alive, tell = now, true, true
	}
	n.mu.Unlock()
	if tell {
		select {
		case n.wake <- struct{}{}:
		default:
		}
	}
}

// carry sends what is to be told, until stopping.
func (n *notifier) carry() {
	failing := false
	for range n.wake {
		n.mu.Lock()
		t := n.todo
		n.todo.ready, n.todo.alive, n.todo.changed = false, false, false
		n.mu.Unlock()
		text := t.text()
		if text == "" {
			continue
		}
		err := n.send(text)
		if err != nil && !failing {
			n.log.Warn("the service manager cannot be told", "err", err)
		}
		failing = err != nil
	}
}

func (t *notice) text() string {
	var lines []string
	if t.ready {
		lines = append(lines, daemon.SdNotifyReady)
	}
	if t.changed {
		status := t.state + ": " + t.next
		if t.doubt {
			status = "not all that is needed can be read; " + status
		}
		lines = append(lines, "STATUS="+strings.ReplaceAll(status, "\n", " "))
	}
	if t.alive {
		lines = append(lines, daemon.SdNotifyWatchdog)
	}
	return strings.Join(lines, "\n")
}

// stopping says that the controller ends; there are no scans any more.
func (n *notifier) stopping() {
	if n == nil {
		return
	}
	close(n.wake)
	n.done.Wait()
	if err := n.send(daemon.SdNotifyStopping + "\nSTATUS=heat is off; closing"); err != nil {
		n.log.Warn("the service manager cannot be told", "err", err)
	}
}

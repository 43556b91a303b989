package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3"
	"golang.org/x/sys/unix"

	"drumwright/io/journal"
	"drumwright/io/record"
)

// crashes is the number of controllers that are killed, 20 or DRUMWRIGHT_CRASHES.
func crashes(t *testing.T) int {
	n, err := strconv.Atoi(os.Getenv("DRUMWRIGHT_CRASHES"))
	if os.Getenv("DRUMWRIGHT_CRASHES") != "" && err != nil {
		t.Fatal(err)
	}
	return max(n, 20)
}

// life is what one controller did before it was killed.
type life struct {
	b      *bench
	name   string
	before truth // of the machine, as it came

	mu     sync.Mutex
	warmed bool
	said   map[string]time.Time // what it answered, and when

	charged chan struct{} // closed when a batch is under way
}

func (l *life) inBatch() bool {
	select {
	case <-l.charged:
		return true
	default:
		return false
	}
}

// say gives a command that leaves a mark in the journal. It reports whether
// somebody answered.
func (l *life) say(k record.Kind) bool {
	l.mu.Lock()
	mark := fmt.Sprintf("%s-%d", l.name, len(l.said))
	l.mu.Unlock()
	c := record.Command{Kind: k, Who: mark}
	if k == record.LoadRecipe {
		c.Recipe = "harbour-medium"
	}
	_, err := l.b.do(c)
	if err != nil {
		return false
	}
	l.mu.Lock()
	l.said[mark] = time.Now()
	l.mu.Unlock()
	return true
}

// live is a person who does what a restarted controller asks for, begins a batch
// and stays by it, until nobody answers.
func (l *life) live(ended <-chan struct{}) {
	gone := func() bool {
		select {
		case <-ended:
			return true
		default:
			return false
		}
	}
	quiet := func(when string) {
		if t := l.b.truth(); t.LastHeatS > l.before.LastHeatS {
			l.b.Errorf("%s: heat at %.2f s %s", l.name, t.LastHeatS, when)
		}
	}
	for charged := false; !gone(); time.Sleep(10 * time.Millisecond) {
		s, err := l.b.state()
		if err != nil {
			continue
		}
		switch s.State {
		case "tripped":
			if !l.asked() { // it asks, and nothing heats meanwhile
				l.b.past(l.b.truth().TimeS + 0.5)
				quiet("without anybody asking")
			}
			l.say(record.ResetTrip)
		case "cold", "run-down":
			if l.b.truth().BeansKg > 0 {
				l.b.tell("drop")
			}
			l.say(record.Dropped)
			l.say(record.LoadRecipe)
			if !l.asked() {
				quiet("before warming was asked for")
			}
			l.mu.Lock()
			l.warmed = true
			l.mu.Unlock()
			l.say(record.StartWarming)
		case "cooling":
			l.say(record.CoolDone)
		case "warming", "ready":
			if s.Safety.HeatPermitted && !charged {
				l.b.tell("charge 1000 11")
				if charged = l.say(record.Charged); charged {
					close(l.charged)
				}
			}
		}
		l.say(record.Acknowledge)
	}
}

// asked reports whether this life has been asked to warm.
func (l *life) asked() bool {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.warmed
}

// Controllers killed at any moment: heat is off at the machine within the time
// of the heartbeat, none comes back before a person at the machine asks for it,
// and the journal is whole and misses at most the last second.
func TestKilledAtAnyMoment(t *testing.T) {
	t.Parallel()
	const scale = 10
	b := newBench(t, scale, "drumwright.db")
	rng := rand.New(rand.NewPCG(1, 0x6b696c6c))
	n, hot, inBatch, worst := crashes(t), 0, 0, 0.0
	for i := range n {
		l := &life{b: b, name: fmt.Sprintf("life-%d", i), before: b.truth(), said: map[string]time.Time{}, charged: make(chan struct{})}
		c := b.serve()
		var person sync.WaitGroup
		person.Go(func() { l.live(c.done) })
		// Half of the moments are counted from the start, half from the charge.
		from := time.Now()
		if i%2 == 1 {
			select {
			case <-l.charged:
				from = time.Now()
			case <-time.After(3 * time.Second):
			case <-c.done:
			}
		}
		select {
		case <-time.After(time.Until(from.Add(time.Duration((0.02 + 0.5*rng.Float64()) * float64(time.Second))))):
		case <-c.done:
			t.Fatalf("%s ended by itself:\n%s", l.name, c.log.String())
		}
		before := b.truth()
		c.end(t, syscall.SIGKILL)
		died := time.Now()
		after := b.truth()
		person.Wait()
		last := b.past(after.TimeS + b.heartbeatS + 0.5)

		// Death was at some moment between the two looks.
		if late := last.LastHeatS - after.TimeS; late > b.heartbeatS+0.2 || last.HeatW != 0 || last.ContactorClosed {
			t.Errorf("%s: heat until %.2f s after death, allowed %.2f; %+v", l.name, late, b.heartbeatS+0.2, last)
		} else if before.HeatW > 0 {
			worst = max(worst, last.LastHeatS-before.TimeS)
		}
		if !l.asked() && last.LastHeatS > l.before.LastHeatS {
			t.Errorf("%s: heat without anybody asking", l.name)
		}
		if before.HeatW > 0 {
			hot++
		}
		if l.inBatch() {
			inBatch++
		}
		journalHolds(t, b.journal, l, died)
		if t.Failed() {
			t.Fatalf("%s:\n%s", l.name, c.log.String())
		}
	}
	t.Logf("%d of %d survived; heat was on at %d deaths, a batch under way at %d; at worst heat until %.2f s after the look before death (heartbeat %.1f s)", n, n, hot, inBatch, worst, b.heartbeatS)
	if hot < n/8 || inBatch < n/8 {
		t.Errorf("only %d deaths with heat and %d in a batch: nothing is shown", hot, inBatch)
	}
}

// journalHolds looks at the file that a killed controller has left.
func journalHolds(t *testing.T, path string, l *life, died time.Time) {
	t.Helper()
	r, err := journal.OpenReader(path)
	if err != nil {
		if len(l.said) > 0 {
			t.Errorf("%s: %v", l.name, err)
		}
		return
	}
	defer r.Close()
	if err := r.Check(context.Background()); err != nil {
		t.Errorf("%s: %v", l.name, err)
	}
	texts := column(t, path, `SELECT text FROM events WHERE text LIKE '%(`+l.name+`-%'`)
	all := strings.Join(texts, "\n")
	for mark, at := range l.said {
		if died.Sub(at) > time.Second && !strings.Contains(all, "("+mark+")") {
			t.Errorf("%s: what was answered %v before death is not in the journal", mark, died.Sub(at))
		}
	}
}

// column reads the first column of a query, past all code of the journal.
func column(t *testing.T, path, query string) (all []string) {
	t.Helper()
	c, err := sqlite3.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	if err := c.BusyTimeout(5 * time.Second); err != nil {
		t.Fatal(err)
	}
	s, _, err := c.Prepare(query)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	for s.Step() {
		all = append(all, s.ColumnText(0))
	}
	if err := s.Err(); err != nil {
		t.Fatal(err)
	}
	return all
}

// batching brings a fresh controller on a warm machine into a batch with heat on.
func (b *bench) batching(c *child) {
	b.Helper()
	b.awaits(c, "asking", func(s seenState) bool { return s.State == "tripped" && s.Safety.FirstCause == "restart_hot" })
	b.must(record.LoadRecipe)
	b.charge(c)
}

// empty lets the beans out. The door's contact may have told it before the word.
func (b *bench) empty() {
	b.Helper()
	b.tell("drop")
	if _, err := b.do(record.Command{Kind: record.Dropped, Who: "Ada"}); err != nil {
		b.Fatal(err)
	}
}

// heating waits for a moment at which heat is really on.
func (b *bench) heating() (t truth) {
	b.Helper()
	for end := time.Now().Add(patience); time.Now().Before(end); time.Sleep(2 * time.Millisecond) {
		if t = b.truth(); t.HeatW > 0 {
			return t
		}
	}
	b.Fatal("no heat")
	return t
}

// charge brings a machine to heat and begins a batch. A loaded computer may trip
// it on the way.
func (b *bench) charge(c *child) {
	b.Helper()
	b.awaits(c, "heating", func(s seenState) bool {
		next := map[string]record.Kind{"tripped": record.ResetTrip, "run-down": record.StartWarming, "cold": record.StartWarming, "cooling": record.CoolDone}
		if k, ok := next[s.State]; ok {
			_, _ = b.do(record.Command{Kind: k, Who: "Ada"})
			return false
		}
		return s.Safety.HeatPermitted
	})
	b.tell("charge 1000 11")
	b.must(record.Charged)
	b.awaits(c, "roasting", func(s seenState) bool { return s.State == "roasting" && s.Safety.HeatPermitted })
}

// A stop of a tenth of a second is nothing; one of two seconds has heat off by
// the heartbeat, and stays off when the process goes on. The long campaign is at
// the machine's own pace.
func TestStoppedAndContinued(t *testing.T) {
	t.Parallel()
	stops, scale := []time.Duration{100 * time.Millisecond, 2 * time.Second}, 2
	if os.Getenv("DRUMWRIGHT_CRASHES") != "" {
		stops, scale = append(stops, 30*time.Second), 1
	}
	b := newBench(t, scale, "drumwright.db")
	c := b.serve()
	b.batching(c)
	for _, stop := range stops {
		short := stop < time.Second
		before := b.truth()
		if err := c.cmd.Process.Signal(syscall.SIGSTOP); err != nil {
			t.Fatal(err)
		}
		stopped := b.truth()
		time.Sleep(stop)
		at := b.truth()
		if err := c.cmd.Process.Signal(syscall.SIGCONT); err != nil {
			t.Fatal(err)
		}
		if short {
			b.past(b.truth().TimeS + 0.5)
			if s, err := b.state(); err != nil || !s.Safety.HeatPermitted {
				t.Fatalf("a stop of %v: %+v, %v", stop, s, err)
			}
			continue
		}
		if late := at.LastHeatS - stopped.TimeS; late > b.heartbeatS+0.2 || at.ContactorClosed {
			t.Errorf("a stop of %v: heat until %.2f s after it, contactor closed %v", stop, late, at.ContactorClosed)
		}
		t.Logf("a stop of %v: heat until %.2f s after the look before it", stop, at.LastHeatS-before.TimeS)
		b.awaits(c, "tripped", func(s seenState) bool { return s.State == "tripped" })
		if last := b.past(b.truth().TimeS + 1); last.LastHeatS > at.LastHeatS {
			t.Errorf("a stop of %v: heat again at %.2f s", stop, last.LastHeatS)
		}
		// The next needs heat again.
		b.must(record.ResetTrip)
		if b.truth().BeansKg > 0 {
			b.empty()
			b.must(record.StartWarming)
			b.must(record.CoolDone)
		} else {
			b.must(record.StartWarming)
		}
		b.awaits(c, "heating", func(s seenState) bool { return s.Safety.HeatPermitted })
	}
	if log := c.log.String(); !strings.Contains(log, "scan_late") {
		t.Errorf("no trip for the late scan:\n%s", log)
	}
}

// An orderly stop in a batch: heat off first and at once, the drum goes on, the
// batch is closed as aborted, and the next start asks.
func TestStopInABatch(t *testing.T) {
	t.Parallel()
	stops, scale := 1, 2
	if os.Getenv("DRUMWRIGHT_CRASHES") != "" {
		stops, scale = 50, 3
	}
	b := newBench(t, scale, "drumwright.db")
	c := b.serve()
	b.batching(c)
	worst := 0.0
	for i := range stops {
		b.past(b.truth().TimeS + 1)
		before := b.heating()
		c.end(t, syscall.SIGTERM)
		if code := c.cmd.ProcessState.ExitCode(); code != 0 {
			t.Errorf("exit code %d:\n%s", code, c.log.String())
		}
		last := b.past(b.truth().TimeS + 3)
		late := (last.LastHeatS - before.TimeS) / float64(scale)
		if worst = max(worst, late); before.HeatW == 0 || late > 0.3 {
			t.Errorf("heat %.0f W before; off %.2f s after the signal, allowed 0.3", before.HeatW, late)
		}
		if !last.DrumTurning || last.AirKgPerS < 0.001 {
			t.Errorf("drum and air were stopped on hot beans: %+v", last)
		}
		if got := column(t, b.journal, `SELECT result FROM batches WHERE result = 'aborted'`); len(got) != i+1 {
			t.Errorf("%d aborted batches after %d stops", len(got), i+1)
		}
		c = b.serve()
		b.awaits(c, "asking", func(s seenState) bool {
			return s.State == "tripped" && strings.Contains(s.Next, "restarted in a batch") && strings.Contains(s.Next, "goes on turning")
		})
		b.must(record.Stop)
		b.awaits(c, "running down", func(s seenState) bool { return s.State == "run-down" })
		if a, err := b.do(record.Command{Kind: record.StartWarming}); err != nil || a.Accepted {
			t.Errorf("warming over beans: %+v, %v", a, err)
		}
		if t1 := b.truth(); !t1.DrumTurning || t1.LastHeatS > last.LastHeatS {
			t.Errorf("after the restart: %+v", t1)
		}
		if i == stops-1 {
			break
		}
		b.empty()
		b.past(b.truth().TimeS + 16) // the discharge door shuts
		b.must(record.LoadRecipe)
		b.charge(c)
	}
	t.Logf("%d stops; heat off at most %.2f s after the look before the signal", stops, worst)
}

// A second controller on the same bus is refused before it writes anything, and
// told who has it.
func TestSecondControllerIsRefused(t *testing.T) {
	t.Parallel()
	b := newBench(t, 2, "drumwright.db")
	c := b.serve()
	b.batching(c)
	text, err := os.ReadFile(b.file)
	if err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(b.dir, "other.yaml") // another name, API and journal; the host by its other name
	edit := strings.NewReplacer("listen: "+b.socket, "listen: "+b.socket+"2", b.journal, b.journal+"2", "host: 127.0.0.1", "host: localhost")
	if err := os.WriteFile(other, []byte(edit.Replace(string(text))), 0o600); err != nil {
		t.Fatal(err)
	}
	for range 3 {
		second := start(t, nil, nil, nil, "serve", other)
		select {
		case <-second.done:
		case <-time.After(patience):
			t.Fatal("the second goes on")
		}
		log := second.log.String()
		if second.cmd.ProcessState.ExitCode() != codeFailed || !strings.Contains(log, fmt.Sprintf("process %d", c.cmd.Process.Pid)) || strings.Contains(log, "heat is off") {
			t.Errorf("exit %d:\n%s", second.cmd.ProcessState.ExitCode(), log)
		}
	}
	if s, err := b.state(); err != nil || !s.Safety.HeatPermitted {
		t.Errorf("the first was disturbed: %+v, %v", s, err)
	}
	c.end(t, syscall.SIGKILL)
	c = b.serve() // the lock went with the process
	b.awaits(c, "back", func(s seenState) bool { return s.State == "tripped" })
}

// The first signal asks for an orderly end, the second ends at once, also where
// the first hangs: here because nobody takes what is printed at the end.
func TestSecondSignalEndsAtOnce(t *testing.T) {
	t.Parallel()
	b := newBench(t, 5, "drumwright.db")
	in, out, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	if n, err := unix.FcntlInt(out.Fd(), unix.F_SETPIPE_SZ, 4096); err != nil || n != 4096 {
		t.Fatal(n, err)
	}
	if _, err := out.Write(make([]byte, 4096)); err != nil { // full
		t.Fatal(err)
	}
	c := start(t, nil, out, nil, "serve", b.file, "--for", "600")
	out.Close()
	b.awaits(c, "asking", func(s seenState) bool { return s.State == "tripped" })
	if err := c.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		t.Fatal(err)
	}
	for end := time.Now().Add(patience); !strings.Contains(c.log.String(), "heat is written off") && time.Now().Before(end); {
		time.Sleep(5 * time.Millisecond)
	}
	if c.ended() {
		t.Fatalf("the first signal did not hang:\n%s", c.log.String())
	}
	c.end(t, syscall.SIGTERM)
	if s, ok := c.cmd.ProcessState.Sys().(syscall.WaitStatus); !ok || !s.Signaled() || s.Signal() != syscall.SIGTERM {
		t.Errorf("ended by %v", c.cmd.ProcessState)
	}
}

package main

import (
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"golang.org/x/sys/unix"

	"drumwright/io/peertest"
	"drumwright/io/record"
)

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
	peertest.Eventually(b, patience, "heat", func() bool { t = b.truth(); return t.HeatW > 0 })
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
	rng, waitS := rand.New(rand.NewPCG(1, 0x73746f70)), 0.0
	if n, err := strconv.Atoi(os.Getenv("DRUMWRIGHT_CRASHES")); err == nil { // at moments that chance has chosen
		stops, scale, waitS = slices.Repeat(stops, max(1, n/10)), 1, 20
		stops = append(stops, slices.Repeat([]time.Duration{30 * time.Second}, max(1, n/50))...)
	}
	b := newBench(t, scale, "drumwright.db")
	c := b.serve()
	b.batching(c)
	for _, stop := range stops {
		short := stop < time.Second
		b.past(b.truth().TimeS + waitS*rng.Float64())
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
		b.insist(record.ResetTrip)
		if b.truth().BeansKg > 0 {
			b.empty()
			b.insist(record.StartWarming)
			b.insist(record.CoolDone)
		} else {
			b.insist(record.StartWarming)
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
	if n, err := strconv.Atoi(os.Getenv("DRUMWRIGHT_CRASHES")); err == nil {
		stops, scale = max(1, min(50, n)), 3
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
	peertest.Eventually(t, patience, "heat to be written off", func() bool { return strings.Contains(c.log.String(), "heat is written off") })
	if c.ended() {
		t.Fatalf("the first signal did not hang:\n%s", c.log.String())
	}
	c.end(t, syscall.SIGTERM)
	if s, ok := c.cmd.ProcessState.Sys().(syscall.WaitStatus); !ok || !s.Signaled() || s.Signal() != syscall.SIGTERM {
		t.Errorf("ended by %v", c.cmd.ProcessState)
	}
}

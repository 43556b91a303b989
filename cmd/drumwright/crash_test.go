package main

import (
	"context"
	"fmt"
	"math/rand/v2"
	"os"
	"strconv"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3"

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
	pace := time.NewTicker(10 * time.Millisecond)
	defer pace.Stop()
	for charged := false; !gone(); <-pace.C {
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
// and the journal is whole and holds what was answered half a second before.
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
		if died.Sub(at) > 500*time.Millisecond && !strings.Contains(all, "("+mark+")") {
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

package fieldbus

import (
	"context"
	"math/rand/v2"
	"net"
	"os"
	"strconv"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"drumwright/io/point"
)

// polls is the number of requests of the long runs, few or DRUMWRIGHT_POLLS.
func polls(t *testing.T, few int) int {
	text := os.Getenv("DRUMWRIGHT_POLLS")
	if text == "" {
		return few
	}
	n, err := strconv.Atoi(text)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// tally is what came of the polls.
type tally struct{ fresh, old, refused int }

// judge holds a value against what the device says of its latest request: good
// and of this scan it must be that, and nothing else. One that was kept from an
// earlier scan must say so by its age.
func (y *tally) judge(t *testing.T, role point.Input, v point.Value, want float64) {
	switch {
	case v.Quality == point.Good && v.AgeS == 0 && v.V == want:
		y.fresh++
	case v.Quality == point.Good && v.AgeS == 0:
		t.Fatalf("%s: %+v is given as fresh, the device says %v", role, v, want)
	case v.Usable():
		y.old++
	default:
		y.refused++
	}
}

func (y *tally) tell(t *testing.T, polls int, began time.Time) {
	t.Logf("%d polls in %.0f s: %d values fresh and right, %d kept from before and said to be, %d not usable, 0 stale given as fresh", polls, time.Since(began).Seconds(), y.fresh, y.old, y.refused)
	if y.fresh < polls/2 || y.old+y.refused == 0 {
		t.Errorf("%+v: nothing is shown", *y)
	}
}

// A device on TCP whose replies come late by one, twice, after an old one, for
// another unit, or never: no stale answer is ever given as fresh.
func TestPollsOverTCP(t *testing.T) {
	n, rng, began := polls(t, 3000), rand.New(rand.NewPCG(1, 0x706f6c6c)), time.Now()
	s := newScript(t)
	foreign := func(x *exchange) {
		other := frameFor(x.request, answer(x.request[7:], x.n+1))
		other[6]++
		x.conn.Write(append(other, x.reply...))
	}
	// A device that lags may still take a request from a connection that was given
	// up when the next is long in use: what counts is the newest connection.
	var mu sync.Mutex
	seen := map[net.Conn]bool{}
	var newest net.Conn
	var last int
	s.behave(func(x *exchange) {
		mu.Lock()
		defer mu.Unlock()
		if !seen[x.conn] {
			seen[x.conn], newest = true, x.conn
		}
		if x.conn == newest {
			last = x.n
		}
		switch p := rng.Float64(); {
		case p < 0.02:
			*x.kept = x.reply // it comes with the next, before or instead of that one's
		case p < 0.03:
			twice(x)
		case p < 0.031:
			foreign(x)
		case *x.kept != nil:
			if lateThenFresh(x); p < 0.5 {
				*x.kept = nil
			}
		default:
			x.conn.Write(x.reply)
		}
	})
	m := newMachine().tcp(s.address)
	m.BusList[0].TimeoutS, m.BusList[0].BackoffS = 0.004, 0.002
	f := m.input(point.Bean, plain(0, 10)).open(t)
	var y tally
	for scan, before := 0, 0; before < n && !t.Failed(); scan++ {
		var img point.Image
		f.Read(context.Background(), 0.1*float64(scan), soon(), &img)
		mu.Lock()
		now := last
		mu.Unlock()
		if now != before {
			y.judge(t, point.Bean, img.In[point.Bean], valueOf(10, now))
		}
		before = now
	}
	y.tell(t, n, began)
}

// On a serial line nothing in a reply tells to which request it belongs. Two
// units answer late by up to the turn-round that the line is set for, twice at
// once, damaged or never, and other units' replies come in between: no stale or
// foreign answer is ever given as fresh. Time is the bubble's, the transport real.
func TestPollsOverRTU(t *testing.T) {
	n, began := polls(t, 3000), time.Now()
	var y tally
	synctest.Test(t, func(t *testing.T) {
		const quiet, timeout = 0.25, 0.02
		m := newMachine().rtu("/dev/none")
		m.BusList[0].TimeoutS, m.BusList[0].QuietS, m.BusList[0].BackoffS = timeout, quiet, 0.1
		f := m.input(point.Bean, onUnit(1, plain(0, 10))).input(point.Exhaust, onUnit(2, plain(0, 10))).open(t)
		p := &adversePort{rng: rand.New(rand.NewPCG(2, 0x706f6c6c)), more: make(chan struct{}, 1), timeout: time.Second, lateS: timeout, quietS: quiet}
		l := f.buses[0].line.(*rtuLine)
		l.opener.open = func(context.Context) (port, error) { return p, nil }
		l.rest = time.Sleep // which keeps the time of the bubble
		if err := f.Open(context.Background()); err != nil {
			t.Fatal(err)
		}
		var last [3]int
		for scan := 0; p.asked() < n && !t.Failed(); scan++ {
			var img point.Image
			f.Read(context.Background(), 0.1*float64(scan), time.Now().Add(time.Second), &img)
			for unit, role := range map[byte]point.Input{1: point.Bean, 2: point.Exhaust} {
				if now := p.lastOf(unit); now != last[unit] {
					y.judge(t, role, img.In[role], valueOf(10, now))
					last[unit] = now
				}
			}
		}
		time.Sleep(time.Second) // the last late ones
	})
	y.tell(t, n, began)
}

// adversePort is a serial port with two units that answer in all wrong ways
// that the line's silence after an error must catch.
type adversePort struct {
	rng           *rand.Rand
	more          chan struct{}
	lateS, quietS float64

	mu      sync.Mutex
	got     []byte
	n       int
	last    [3]int
	timeout time.Duration
}

func (p *adversePort) asked() int { p.mu.Lock(); defer p.mu.Unlock(); return p.n }

func (p *adversePort) lastOf(unit byte) int { p.mu.Lock(); defer p.mu.Unlock(); return p.last[unit] }

// after lets bytes come in later.
func (p *adversePort) after(s float64, b []byte) {
	time.AfterFunc(time.Duration(s*float64(time.Second)), func() {
		p.mu.Lock()
		p.got = append(p.got, b...)
		p.mu.Unlock()
		select {
		case p.more <- struct{}{}:
		default:
		}
	})
}

func (p *adversePort) Write(b []byte) (int, error) {
	p.mu.Lock()
	p.n++
	p.last[b[0]] = p.n
	n := p.n
	p.mu.Unlock()
	reply := sealed(b[0], answer(b[1:], n))
	switch x := p.rng.Float64(); {
	case x < 0.02: // past the time-out, by up to the silence that is kept for it
		p.after(p.lateS+0.001+0.95*p.quietS*p.rng.Float64(), reply)
	case x < 0.07: // another unit speaks first
		p.after(0.0005, sealed(b[0]+7, answer(b[1:], n+1)))
		p.after(0.001, reply)
	case x < 0.08:
		p.after(0.001, append(reply, reply...))
	case x < 0.09: // a flipped bit
		reply[p.rng.IntN(len(reply))] ^= 1 << p.rng.IntN(8)
		p.after(0.001, reply)
	case x < 0.1:
	case x < 0.11: // in two parts
		k := 1 + p.rng.IntN(len(reply)-1)
		p.after(0.001, reply[:k])
		p.after(0.003, reply[k:])
	default:
		p.after(0.001, reply)
	}
	return len(b), nil
}

func (p *adversePort) Read(b []byte) (int, error) {
	t := time.NewTimer(p.timeout)
	defer t.Stop()
	for {
		p.mu.Lock()
		n := copy(b, p.got)
		p.got = p.got[n:]
		p.mu.Unlock()
		if n > 0 {
			return n, nil
		}
		select {
		case <-p.more:
		case <-t.C:
			return 0, nil
		}
	}
}

func (p *adversePort) SetReadTimeout(d time.Duration) error { p.timeout = d; return nil }
func (p *adversePort) ResetInputBuffer() error {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.got = nil
	return nil
}
func (p *adversePort) Close() error { return nil }

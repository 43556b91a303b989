package access

import "time"

// tries bounds how often something may be tried under a name: a few times at once,
// then once in a while.
type tries struct {
	atOnce float64
	every  time.Duration // after which one more is given
	left   map[string]*share
	swept  time.Time
}

type share struct {
	n  float64 // left
	at time.Time
}

// mostNames bounds how many names are remembered.
const mostNames = 4096

func newTries(atOnce int, every time.Duration) *tries {
	return &tries{atOnce: float64(atOnce), every: every, left: make(map[string]*share)}
}

func (t *tries) now(name string, now time.Time) *share {
	s := t.left[name]
	if s == nil {
		if len(t.left) >= mostNames && now.Sub(t.swept) >= time.Second {
			t.forget(now)
		}
		if len(t.left) >= mostNames {
			return &share{0, now} // a flood of names: nobody new for a while
		}
		s = &share{t.atOnce, now}
		t.left[name] = s
	}
	if d := now.Sub(s.at); d > 0 {
		s.n = min(t.atOnce, s.n+d.Seconds()/t.every.Seconds())
	}
	s.at = now
	return s
}

// wait is how long to wait before the next try; 0 = none.
func (t *tries) wait(name string, now time.Time) time.Duration {
	if s := t.now(name, now); s.n < 1 {
		return max(time.Second, time.Duration((1-s.n)*float64(t.every)))
	}
	return 0
}

func (t *tries) take(name string, now time.Time) { t.now(name, now).n-- }
func (t *tries) give(name string, now time.Time) {
	s := t.now(name, now)
	s.n = min(t.atOnce, s.n+1)
}

// forget drops the names that have all their tries again.
func (t *tries) forget(now time.Time) {
	t.swept = now
	for name, s := range t.left {
		if s.n+now.Sub(s.at).Seconds()/t.every.Seconds() >= t.atOnce {
			delete(t.left, name)
		}
	}
}

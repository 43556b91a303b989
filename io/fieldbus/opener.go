package fieldbus

import (
	"context"
	"io"
	"time"
)

// firstPause is the pause before the second attempt to open; the first follows
// a loss at once. Common practice, no source.
const firstPause = 50 * time.Millisecond

// attemptLimit bounds one attempt to open. Common practice, no source.
const attemptLimit = 2 * time.Second

type opened[T io.Closer] struct {
	conn T
	err  error
}

// opener opens connections in the background, so that no scan waits for a
// dial, and spaces failed attempts out exponentially.
type opener[T io.Closer] struct {
	open    func(context.Context) (T, error)
	longest time.Duration
	atOnce  bool // opening takes no time: nothing is done in the background

	pending chan opened[T] // nil unless an attempt is under way
	cancel  context.CancelFunc
	pause   time.Duration
	next    time.Time // no attempt before
	last    error     // of the last attempt
}

func (o *opener[T]) start() {
	ctx, cancel := context.WithTimeout(context.Background(), attemptLimit)
	ch := make(chan opened[T], 1)
	o.pending, o.cancel = ch, cancel
	go func() {
		c, err := o.open(ctx)
		ch <- opened[T]{c, err}
	}()
}

// finish takes the outcome of an attempt.
func (o *opener[T]) finish(r opened[T]) (conn T, ok bool) {
	o.cancel()
	o.pending, o.cancel = nil, nil
	o.last = r.err
	if r.err != nil {
		o.failed()
		return conn, false
	}
	return r.conn, true
}

// failed notes that opening, or what was opened, has failed.
func (o *opener[T]) failed() {
	o.next = time.Now().Add(o.pause)
	o.pause = min(max(2*o.pause, firstPause), o.longest)
}

// worked notes that what was opened is of use.
func (o *opener[T]) worked() { o.pause = 0 }

// try returns a connection if one has become ready. It waits until the given
// time only for an attempt that it starts itself: a host that does not answer
// costs one scan some time, not every scan.
func (o *opener[T]) try(until time.Time) (conn T, ok bool) {
	if o.atOnce {
		conn, o.last = o.open(context.Background())
		return conn, o.last == nil
	}
	if o.pending != nil {
		select {
		case r := <-o.pending:
			return o.finish(r)
		default:
			return conn, false
		}
	}
	now := time.Now()
	if now.Before(o.next) {
		return conn, false
	}
	o.start()
	timer := time.NewTimer(until.Sub(now))
	defer timer.Stop()
	select {
	case r := <-o.pending:
		return o.finish(r)
	case <-timer.C:
		return conn, false
	}
}

// wait is try for callers with time: it returns when the attempt has ended.
func (o *opener[T]) wait(ctx context.Context) (conn T, err error) {
	if o.pending == nil {
		o.start()
	}
	select {
	case r := <-o.pending:
		c, _ := o.finish(r)
		return c, r.err
	case <-ctx.Done():
		return conn, ctx.Err()
	}
}

// close ends an attempt under way and closes what it may have opened.
func (o *opener[T]) close() {
	if o.pending == nil {
		return
	}
	o.cancel()
	if r := <-o.pending; r.err == nil {
		r.conn.Close()
	}
	o.pending, o.cancel = nil, nil
}

package fieldbus

import (
	"context"
	"errors"
	"testing"
	"time"
)

func TestOpenerSpacesAttemptsOut(t *testing.T) {
	attempts := 0
	var fail error = errors.New("no route")
	o := opener[port]{longest: time.Hour, open: func(context.Context) (port, error) {
		attempts++
		return &fakePort{}, fail
	}}
	for range 20 {
		if _, ok := o.try(soon()); ok {
			t.Fatal("open in spite of the error")
		}
	}
	if attempts != 2 { // at once, once more at once, then after a pause
		t.Errorf("%d attempts without a pause, want 2", attempts)
	}
	for _, ms := range []time.Duration{100, 200, 400, 800} {
		begin := time.Now()
		o.failed()
		if d, want := o.next.Sub(begin), ms*time.Millisecond; d < want || d > want+5*time.Second {
			t.Errorf("pause %v, want %v", d, want)
		}
	}
	o.longest = time.Second
	if o.failed(); o.pause != time.Second {
		t.Errorf("pause %v, want the longest", o.pause)
	}
	fail = nil
	o.worked()
	o.failed() // what worked is lost: open again at once
	if _, ok := o.try(soon()); !ok {
		t.Error("not opened at once after a loss")
	}
}

func TestOpenerDoesNotWaitForAnOldAttempt(t *testing.T) {
	release := make(chan struct{})
	p := &fakePort{}
	o := opener[port]{open: func(context.Context) (port, error) { <-release; return p, nil }}
	begin := time.Now()
	if _, ok := o.try(begin.Add(10 * time.Millisecond)); ok || time.Since(begin) < 10*time.Millisecond {
		t.Error("did not wait for the attempt that it started")
	}
	begin = time.Now()
	if _, ok := o.try(begin.Add(time.Minute)); ok || time.Since(begin) > 10*time.Second {
		t.Error("waited for an attempt that was under way")
	}
	close(release)
	eventually(t, "open port", func() bool { _, ok := o.try(soon()); return ok })
	o.start()
	o.close()
	if p.closed != 1 {
		t.Errorf("port of an attempt given up was closed %d times, want 1", p.closed)
	}
}

package fieldbus

import (
	"context"
	"time"
)

// job is what a bus has to do in one call of Read or Write: read or write.
type job struct {
	ctx      context.Context
	scan     uint64
	nowS     float64
	deadline time.Time
	write    bool
	orders   orders
}

func (b *bus) do(j *job) {
	if b == nil {
		return
	}
	if j.write {
		b.write(j.ctx, j.scan, j.deadline, &j.orders)
	} else {
		b.read(j.ctx, j.scan, j.nowS, j.deadline)
	}
}

// stopLimit is how long Close waits for a bus to come back from its driver.
// Common practice, no source.
const stopLimit = 2 * time.Second

// worker owns a bus from give until the job is seen to be done.
type worker struct {
	b     *bus
	jobs  chan job
	done  chan struct{}
	timer *time.Timer
	busy  bool
}

func newWorker(b *bus) *worker {
	timer := time.NewTimer(0)
	timer.Stop()
	return &worker{b: b, timer: timer}
}

// give hands a job over, once the bus is free of the last one. A bus that is
// not free by the deadline misses the job.
func (w *worker) give(deadline time.Time, j *job) {
	if w.jobs == nil {
		w.jobs, w.done = make(chan job), make(chan struct{}, 1)
		go func(jobs <-chan job, done chan<- struct{}) {
			for j := range jobs {
				w.b.do(&j)
				done <- struct{}{}
			}
		}(w.jobs, w.done)
	}
	if w.busy && !w.await(deadline) {
		return
	}
	w.jobs <- *j
	w.busy = true
}

// await waits until the job is done or the deadline has passed.
func (w *worker) await(deadline time.Time) bool {
	if !w.busy {
		return true
	}
	select {
	case <-w.done:
		w.busy = false
		return true
	default:
	}
	w.timer.Reset(time.Until(deadline))
	defer w.timer.Stop()
	select {
	case <-w.done:
		w.busy = false
		return true
	case <-w.timer.C:
		return false
	}
}

// stop ends the worker; it stays busy if its bus does not come back.
func (w *worker) stop() {
	if w.jobs == nil {
		return
	}
	close(w.jobs)
	w.await(time.Now().Add(stopLimit))
}

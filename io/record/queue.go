package record

import "sync"

// Queue stands between the scan and a sink that may be slow. It is bounded and
// Put never waits: when it is full the oldest sample makes room, and only when
// no sample is left the oldest event. One goroutine puts, one takes.
type Queue[T any] struct {
	wake chan struct{}

	mu             sync.Mutex
	samples        ring[T]
	events         ring[T]
	capacity       int
	seq            uint64
	droppedSamples uint64
	droppedEvents  uint64
}

// NewQueue makes a queue that holds at most capacity items, at least 1.
func NewQueue[T any](capacity int) *Queue[T] {
	capacity = max(capacity, 1)
	return &Queue[T]{wake: make(chan struct{}, 1), capacity: capacity}
}

// PutSample appends an item that may be dropped for another.
func (q *Queue[T]) PutSample(item T) { q.put(&q.samples, item) }

// PutEvent appends an item that is dropped only when no sample is left to drop.
func (q *Queue[T]) PutEvent(item T) { q.put(&q.events, item) }

func (q *Queue[T]) put(r *ring[T], item T) {
	q.mu.Lock()
	if q.samples.n+q.events.n == q.capacity {
		if q.samples.n > 0 {
			q.samples.pop()
			q.droppedSamples++
		} else {
			q.events.pop()
			q.droppedEvents++
		}
	}
	r.push(entry[T]{q.seq, item})
	q.seq++
	q.mu.Unlock()
	select {
	case q.wake <- struct{}{}:
	default:
	}
}

// Wake is readable after something was put.
func (q *Queue[T]) Wake() <-chan struct{} { return q.wake }

// Take appends up to limit items to dst in the order in which they were put and
// removes them from the queue.
func (q *Queue[T]) Take(dst []T, limit int) []T {
	q.mu.Lock()
	defer q.mu.Unlock()
	for ; limit > 0 && q.samples.n+q.events.n > 0; limit-- {
		r := &q.samples
		if r.n == 0 || q.events.n > 0 && q.events.first().seq < r.first().seq {
			r = &q.events
		}
		dst = append(dst, r.pop())
	}
	return dst
}

// Len is the number of items that wait.
func (q *Queue[T]) Len() int {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.samples.n + q.events.n
}

// Dropped counts what was dropped since the queue was made.
func (q *Queue[T]) Dropped() (samples, events uint64) {
	q.mu.Lock()
	defer q.mu.Unlock()
	return q.droppedSamples, q.droppedEvents
}

type entry[T any] struct {
	seq  uint64
	item T
}

// ring grows to what once waited at the same time, which is far less than a queue
// may hold.
type ring[T any] struct {
	buf     []entry[T]
	head, n int
}

func (r *ring[T]) first() *entry[T] { return &r.buf[r.head] }

func (r *ring[T]) push(e entry[T]) {
	if r.n == len(r.buf) {
		buf := make([]entry[T], max(4, 2*len(r.buf)))
		copy(buf[copy(buf, r.buf[r.head:]):], r.buf[:r.head])
		r.buf, r.head = buf, 0
	}
	r.buf[(r.head+r.n)%len(r.buf)] = e
	r.n++
}

func (r *ring[T]) pop() T {
	e := r.buf[r.head]
	r.buf[r.head] = entry[T]{} // let go of what the item points to
	r.head = (r.head + 1) % len(r.buf)
	r.n--
	return e.item
}

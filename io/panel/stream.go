package panel

import (
	"context"
	"encoding/json"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"drumwright/io/record"
	"drumwright/io/say"
)

const (
	mostClients  = 50 // at the machine, and as many elsewhere: those cannot take the places of these
	clientFrames = 32 // that may wait for a client before it is let go
	frameTime    = 5 * time.Second
)

// stream hands what happens to all clients that listen.
type stream struct {
	last    *atomic.Pointer[seen]
	may     func(*http.Request) bool // whether whoever asked may look yet
	hands   *hands
	events  *record.Queue[record.EventView]
	changed atomic.Bool
	wake    chan struct{}

	mu      sync.Mutex
	open    bool
	clients map[chan []byte]bool // whether it is at the machine
	control controlView          // that was sent last
	slow    uint64               // clients that were let go
}

func newStream(last *atomic.Pointer[seen]) *stream {
	return &stream{last: last, events: record.NewQueue[record.EventView](256), wake: make(chan struct{}, 1), clients: make(map[chan []byte]bool)}
}

// note takes what happened in a scan. It never waits for a client.
func (t *stream) note(n *seen, changed bool) {
	if changed {
		t.changed.Store(true)
	}
	for i := range n.scan.NumEvents {
		t.events.PutEvent(record.NewEventView(&n.scan, i))
	}
	if changed || n.scan.NumEvents > 0 {
		select {
		case t.wake <- struct{}{}:
		default:
		}
	}
}

// run sends until ctx ends, then lets all clients go.
func (t *stream) run(ctx context.Context) {
	t.mu.Lock()
	t.open = true
	t.mu.Unlock()
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	var measured uint64
	var events []record.EventView
	for {
		select {
		case <-ctx.Done():
			t.mu.Lock()
			defer t.mu.Unlock()
			t.open = false
			for c := range t.clients {
				t.drop(c)
			}
			return
		case <-t.wake:
			t.mu.Lock()
			if t.changed.Swap(false) && len(t.clients) > 0 {
				p := pictureOf(&t.last.Load().scan)
				t.sendFrame(p.state())
				t.sendFrame(p.alarms())
				t.sendFrame(p.now())
			}
			t.sendControl()
			for events = t.events.Take(events[:0], 256); len(events) > 0; events = events[1:] {
				t.send("event", func() any { return events[0] })
			}
			t.mu.Unlock()
		case <-tick.C:
			last := t.last.Load()
			if last != nil {
				t.hands.lapse(last.scan.State)
			}
			t.mu.Lock()
			t.sendControl()
			if last != nil && last.scan.N != measured {
				measured = last.scan.N
				if len(t.clients) > 0 {
					p := pictureOf(&last.scan)
					t.sendFrame(p.measurement())
					t.sendFrame(p.now())
				}
			} else {
				// The scan loop stands. A comment finds out who has gone; old numbers
				// would look like new ones.
				t.sendFrame([]byte(": no scan\n\n"))
			}
			t.mu.Unlock()
		}
	}
}

// passed wakes the stream: control has passed, or somebody asks for it.
func (t *stream) passed() {
	select {
	case t.wake <- struct{}{}:
	default:
	}
}

// viewers is how many look on.
func (t *stream) viewers() int {
	t.mu.Lock()
	defer t.mu.Unlock()
	return len(t.clients)
}

// sendControl tells who has control, and how many look on, if that has changed.
// The lock is held.
func (t *stream) sendControl() {
	if v := t.hands.view(len(t.clients)); v != t.control {
		t.control = v
		t.send("control", func() any { return v })
	}
}

// send makes a frame, if anybody listens, and sends it. The lock is held.
func (t *stream) send(event string, data func() any) {
	if len(t.clients) > 0 {
		t.sendFrame(frame(event, data()))
	}
}

// sendFrame gives a frame to every client that has room; one that has none is
// let go, and comes back if it is still there. The lock is held.
func (t *stream) sendFrame(f []byte) {
	for c := range t.clients {
		select {
		case c <- f:
		default:
			t.slow++
			t.drop(c)
		}
	}
}

func (t *stream) drop(c chan []byte) {
	delete(t.clients, c)
	close(c)
}

func frame(event string, data any) []byte {
	b, err := json.Marshal(data)
	if err != nil { // no view can fail to marshal
		panic(err)
	}
	return append(append([]byte("event: "+event+"\ndata: "), b...), "\n\n"...)
}

// picture is a scan as it is shown, made once for all its frames.
type picture struct {
	view record.View
	list record.AlarmsView
}

func pictureOf(s *record.Scan) picture { return picture{record.NewView(s), record.NewAlarmsView(s)} }

func (p *picture) state() []byte {
	return frame("state", record.StatusView{Stamp: p.view.Stamp, Status: p.view.Status})
}
func (p *picture) measurement() []byte {
	return frame("measurement", record.MeasuredView{Stamp: p.view.Stamp, Measured: p.view.Measured})
}
func (p *picture) alarms() []byte { return frame("alarms", p.list) }
func (p *picture) now() []byte    { return frame("now", say.Of(&p.view, &p.list)) }

// join adds a client and gives it what stands now; nil if there is no room.
func (t *stream) join(here bool) chan []byte {
	t.mu.Lock()
	defer t.mu.Unlock()
	likewise := 0
	for _, at := range t.clients {
		if at == here {
			likewise++
		}
	}
	if !t.open || likewise == mostClients {
		return nil
	}
	c := make(chan []byte, clientFrames)
	if last := t.last.Load(); last != nil {
		p := pictureOf(&last.scan)
		c <- p.state()
		c <- p.measurement()
		c <- p.alarms()
		c <- p.now()
	}
	t.clients[c] = here
	c <- frame("control", t.hands.view(len(t.clients)))
	return c
}

func (t *stream) leave(c chan []byte) {
	t.mu.Lock()
	defer t.mu.Unlock()
	if _, ok := t.clients[c]; ok {
		t.drop(c)
	}
}

// serve answers one client for as long as it keeps up.
func (t *stream) serve(w http.ResponseWriter, r *http.Request) {
	if r.Method != http.MethodGet { // HEAD would wait for an answer that has no end
		w.Header().Set("Allow", http.MethodGet)
		fail(w, r, http.StatusMethodNotAllowed, "the stream takes GET only")
		return
	}
	c := t.join(local(r))
	if c == nil {
		w.Header().Set("Retry-After", "5")
		fail(w, r, http.StatusServiceUnavailable, "too many streams are open, or the daemon is ending")
		return
	}
	defer t.leave(c)
	control := http.NewResponseController(w)
	// The time to read a request is over for good; without this it would end the
	// stream.
	if err := control.SetReadDeadline(time.Time{}); err != nil {
		fail(w, r, http.StatusInternalServerError, "this connection cannot be streamed over")
		return
	}
	h := w.Header()
	h.Set("Content-Type", "text/event-stream")
	h.Set("Cache-Control", "no-store")
	h.Set("X-Content-Type-Options", "nosniff")
	next := []byte("retry: 2000\n\n")
	for {
		if !t.may(r) { // a session ends also while its stream goes on
			return
		}
		if control.SetWriteDeadline(time.Now().Add(frameTime)) != nil {
			return
		}
		if _, err := w.Write(next); err != nil {
			return
		}
		if control.Flush() != nil {
			return
		}
		var ok bool
		select {
		case <-r.Context().Done():
			return
		case next, ok = <-c:
			if !ok {
				return
			}
		}
	}
}

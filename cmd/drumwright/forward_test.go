package main

import (
	"fmt"
	"io"
	"log/slog"
	"net"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"sync"
	"testing"
	"time"

	"drumwright/io/journal"
	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
	"drumwright/io/telemetry"
)

// wire leads to a broker and can be cut.
type wire struct {
	net.Listener
	to string

	mu    sync.Mutex
	whole bool
	ends  []net.Conn
}

func newWire(t *testing.T, to string) *wire {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	w := &wire{Listener: l, to: to}
	t.Cleanup(func() { l.Close(); w.cut() })
	go func() {
		for {
			in, err := l.Accept()
			if err != nil {
				return
			}
			w.join(in)
		}
	}()
	return w
}

func (w *wire) join(in net.Conn) {
	w.mu.Lock()
	defer w.mu.Unlock()
	out, err := net.Dial("tcp", w.to)
	if !w.whole || err != nil {
		in.Close()
		if err == nil {
			out.Close()
		}
		return
	}
	w.ends = append(w.ends, in, out)
	go io.Copy(in, out)
	go io.Copy(out, in)
}

func (w *wire) mend() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.whole = true
}

func (w *wire) cut() {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.whole = false
	for _, c := range w.ends {
		c.Close()
	}
	w.ends = nil
}

// brokerLife is one life of a real broker with a subscriber that hears all events
// from the first on.
func brokerLife(t *testing.T, address string) (kill func(), seen *peertest.Buffer) {
	t.Helper()
	_, port, _ := net.SplitHostPort(address)
	config := filepath.Join(t.TempDir(), "broker.conf")
	if err := os.WriteFile(config, []byte("listener "+port+" 127.0.0.1\nallow_anonymous true\npersistence false\nmax_queued_messages 0\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	broker := exec.Command(peertest.Find(t, "mosquitto"), "-c", config)
	if err := broker.Start(); err != nil {
		t.Fatal(err)
	}
	kill = sync.OnceFunc(func() { broker.Process.Kill(); broker.Wait() })
	t.Cleanup(kill)
	hello := func() bool {
		return exec.Command(peertest.Find(t, "mosquitto_pub"), "-h", "127.0.0.1", "-p", port, "-r", "-t", "drumwright/hello", "-m", "hello").Run() == nil
	}
	peertest.Eventually(t, patience, "the broker", hello)
	seen = &peertest.Buffer{}
	peertest.Start(t, seen, peertest.Find(t, "mosquitto_sub"), "-h", "127.0.0.1", "-p", port, "-q", "1", "-v", "-t", "drumwright/#")
	peertest.Eventually(t, patience, "the subscriber", func() bool { return regexp.MustCompile("hello").MatchString(seen.String()) })
	return kill, seen
}

// publishing is what of the daemon keeps events and publishes them.
type publishing struct {
	t    *testing.T
	keep *journal.Sink
	mqtt *telemetry.MQTT
}

func publishes(t *testing.T, path, broker string) *publishing {
	t.Helper()
	keep, err := journal.Open(path, journal.Config{})
	if err != nil {
		t.Fatal(err)
	}
	mqtt, err := telemetry.NewMQTT(telemetry.MQTTConfig{Broker: broker, Site: "loft", Machine: "old-drum", Period: 50 * time.Millisecond,
		QueueLen: 50, Store: forwardedTo(broker, keep), Run: keep.RunID(), Log: slog.New(slog.NewTextHandler(t.Output(), nil))})
	if err != nil {
		t.Fatal(err)
	}
	return &publishing{t, keep, mqtt}
}

// put puts events, three in a scan, with these numbers.
func (p *publishing) put(from, to int) {
	for n := from; n <= to; n += 3 {
		sc := recordtest.At(n)
		sc.N = uint64(n)
		for k := n; k < n+3 && k <= to; k++ {
			sc.Add(record.Event{Kind: record.Note, Name: "n", Text: fmt.Sprintf("event <%d>", k)})
		}
		p.keep.Put(&sc)
		p.mqtt.Put(&sc)
	}
}

func (p *publishing) close() {
	p.t.Helper()
	p.mqtt.Close()
	if err := p.keep.Close(); err != nil {
		p.t.Fatal(err)
	}
}

// heard is the numbers of the events that a subscriber has seen.
func heard(seen *peertest.Buffer) (all []int) {
	for _, m := range regexp.MustCompile(`/events .*event (?:<|\\u003c)(\d+)(?:>|\\u003e)`).FindAllStringSubmatch(seen.String(), -1) {
		n, _ := strconv.Atoi(m[1])
		all = append(all, n)
	}
	return all
}

// The broker is killed, more happens than waits in memory, the daemon starts anew
// without a broker, and the broker comes back having forgotten everything: it gets
// all events in their order, none missing, none twice. Then the wire is cut in the
// middle of a stream: what was not acknowledged may come twice (MQTT 3.1.1, section
// 4.3.2), nothing else.
func TestEventsOutliveBrokerAndDaemon(t *testing.T) {
	address := peertest.FreeAddress(t)
	kill, first := brokerLife(t, address)
	w := newWire(t, address)
	w.mend()
	path, broker := filepath.Join(t.TempDir(), "drumwright.db"), "tcp://"+w.Addr().String()
	arrives := func(seen *peertest.Buffer, n int) {
		t.Helper()
		peertest.Eventually(t, patience, fmt.Sprintf("event %d", n), func() bool { all := heard(seen); return len(all) > 0 && all[len(all)-1] == n })
	}

	p := publishes(t, path, broker)
	p.put(1, 20)
	arrives(first, 20)
	all := heard(first) // this subscriber comes back by itself, too late for some
	kill()
	w.cut()
	peertest.Eventually(t, patience, "the loss of the broker", func() bool { return !p.mqtt.Stats().Connected })
	p.put(21, 400)
	p.close()

	p = publishes(t, path, broker)
	p.put(401, 410)
	_, second := brokerLife(t, address)
	w.mend()
	arrives(second, 410)
	p.put(411, 430)
	arrives(second, 430)
	if d := p.mqtt.Stats().DroppedEvents; d != 0 {
		t.Errorf("%d events dropped", d)
	}
	for i, n := range append(all, heard(second)...) {
		if n != i+1 {
			t.Fatalf("event %d came where %d was due", n, i+1)
		}
	}

	const cuts = 3
	last := 430
	for range cuts {
		for range 100 {
			p.put(last+1, last+3)
			last += 3
		}
		w.cut()
		p.put(last+1, last+120) // more than waits in memory
		last += 120
		w.mend()
		arrives(second, last)
	}
	p.close()
	twice, due := 0, 21
	for _, n := range heard(second) {
		switch n {
		case due:
			due++
		case due - 1:
			twice++
		default:
			t.Fatalf("event %d came where %d was due", n, due)
		}
	}
	if due != last+1 || twice > cuts {
		t.Errorf("events up to %d of %d, %d of them twice at %d cuts", due-1, last, twice, cuts)
	}
	t.Logf("%d events, %d of them twice at %d cuts of the wire", last, twice, cuts)
}

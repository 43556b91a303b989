package telemetry

import (
	"encoding/json"
	"fmt"
	"io"
	"net"
	"os"
	"runtime"
	"strings"
	"syscall"
	"testing"
	"time"

	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

// quick is a pace for brokers on the loopback interface.
var quick = pace{keepAlive: time.Second, ping: 500 * time.Millisecond, connect: time.Second, write: time.Second,
	firstRetry: 20 * time.Millisecond, lastRetry: 100 * time.Millisecond}

func says(text string) func(message) bool {
	return func(m message) bool { return strings.Contains(m.payload, text) }
}

func publisher(t *testing.T, address string) *MQTT {
	t.Helper()
	m, err := newMQTT(MQTTConfig{Broker: "tcp://" + address, Site: "shop", Machine: "old-drum", Period: 50 * time.Millisecond, QueueLen: 100}, quick)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// put puts scan n with one event that names it.
func put(m *MQTT, n int) {
	s := recordtest.At(n)
	s.Add(record.Event{Kind: record.Note, Name: "n", Text: fmt.Sprintf("scan %d.", n)})
	m.Put(&s)
}

func TestMQTTMessages(t *testing.T) {
	b := newBroker(t).start()
	sub := b.subscribe()
	m := publisher(t, b.address)
	s := recordtest.Roasting()
	m.Put(&s)
	sub.wait(TopicStatus, says("online"))
	sub.wait(TopicState, says(`"roasting"`))
	sub.wait(TopicAlarms, says(`"exhaust_probe_doubtful"`))
	measured := sub.wait(TopicMeasurements, says("points"))
	sub.wait(TopicEvents, says(`exhaust probe answers late`))

	var v record.MeasuredView
	if err := json.Unmarshal([]byte(measured.payload), &v); err != nil {
		t.Fatal(err)
	}
	if v.Points["bean"].Value != 171.4 || v.Points["ambient"].Value.Known() || !strings.Contains(measured.payload, `"ambient":{"value":null,"unit":"°C","quality":"bad"`) {
		t.Errorf("measurements %s", measured.payload)
	}
	for _, topic := range []string{TopicState, TopicAlarms, TopicMeasurements, TopicEvents} {
		for _, x := range sub.on(topic) {
			var stamp record.Stamp
			if err := json.Unmarshal([]byte(x.payload), &stamp); err != nil {
				t.Fatalf("%s: %v", topic, err)
			}
			at, err := time.Parse(time.RFC3339, stamp.Time)
			if err != nil || !at.Equal(time.Unix(0, s.UnixNano)) || at.Location() != time.UTC || stamp.Quality != "bad" {
				t.Errorf("%s has the time %q (%v) and the quality %q", topic, stamp.Time, err, stamp.Quality)
			}
		}
	}

	// A change is published at once, a scan without one is not.
	same := recordtest.At(1)
	m.Put(&same)
	tripped := recordtest.At(2)
	tripped.Safety.Tripped, tripped.Safety.First = true, "drum_stopped"
	m.Put(&tripped)
	sub.wait(TopicAlarms, says(`"first_cause":"drum_stopped"`))
	sub.wait(TopicState, says(`"first_cause":"drum_stopped"`))
	for scan, want := range map[string]int{`"scan":12041,`: 0, `"scan":12042,`: 1} {
		got := 0
		for _, x := range sub.on(TopicState) {
			if says(scan)(x) {
				got++
			}
		}
		if got != want {
			t.Errorf("%d messages on state with %s want %d", got, scan, want)
		}
	}

	acked := tripped
	acked.Alarms.List[0].State, acked.Alarms.List[0].AckedBy = record.AlarmLatchedAcknowledged, "Ada"
	m.Put(&acked)
	sub.wait(TopicAlarms, says(`"acknowledged_by":"Ada"`))

	// Who comes late finds what stands, and no old measurement or event.
	late := b.subscribe()
	for topic, want := range map[string]string{TopicStatus: "online", TopicState: "drum_stopped", TopicAlarms: "drum_stopped"} {
		if x := late.wait(topic, says(want)); !x.retained {
			t.Errorf("%s was not retained", topic)
		}
	}
	for _, topic := range []string{TopicEvents, TopicMeasurements} {
		if x := late.on(topic); len(x) > 0 && x[0].retained {
			t.Errorf("%s was retained: %s", topic, x[0].payload)
		}
	}

	m.Close()
	sub.wait(TopicStatus, says("offline"))
	if x := b.subscribe().wait(TopicStatus, says("offline")); !x.retained {
		t.Error("the farewell was not retained")
	}
}

// The scan loop stands: no measurement is made up.
func TestMQTTRepeatsNoOldMeasurement(t *testing.T) {
	b := newBroker(t).start()
	sub := b.subscribe()
	m := publisher(t, b.address)
	defer m.Close()
	put(m, 1)
	sub.wait(TopicMeasurements, says(`"scan":12041,`))
	put(m, 2)
	sub.wait(TopicMeasurements, says(`"scan":12042,`))
	<-time.After(6 * 50 * time.Millisecond) // some periods in which nothing may come
	if got := len(sub.on(TopicMeasurements)); got != 2 {
		t.Errorf("%d measurements of 2 scans", got)
	}
}

// The wire is cut: the broker sends the last will.
func TestMQTTWill(t *testing.T) {
	b := newBroker(t).start()
	sub := b.subscribe()
	wire, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	cut := make(chan func(), 1)
	go func() {
		in, err := wire.Accept()
		if err != nil {
			return
		}
		out, err := net.Dial("tcp", b.address)
		if err != nil {
			return
		}
		go io.Copy(in, out)
		go io.Copy(out, in)
		cut <- func() { in.Close(); out.Close() }
	}()
	m := publisher(t, wire.Addr().String())
	defer m.Close()
	put(m, 1)
	sub.wait(TopicStatus, says("online"))
	sub.wait(TopicEvents, says("scan 1."))
	wire.Close()
	(<-cut)()
	sub.wait(TopicStatus, says("offline"))
	peertest.Eventually(t, 5*time.Second, "the publisher notices", func() bool { return !m.Stats().Connected })
}

// The broker is absent at start, comes, is killed, stays away while more happens
// than can wait, and comes back having forgotten everything.
func TestMQTTOutages(t *testing.T) {
	b := newBroker(t)
	m := publisher(t, b.address)
	defer m.Close()
	put(m, 1)
	peertest.Eventually(t, 5*time.Second, "measurements are counted as skipped", func() bool { return m.Stats().SkippedMeasurements > 0 })
	b.start()
	peertest.Eventually(t, 5*time.Second, "connected", func() bool { return m.Stats().Connected })
	sub := b.subscribe()
	put(m, 2)
	sub.wait(TopicEvents, says("scan 2."))

	b.signal(os.Kill)
	peertest.Eventually(t, 5*time.Second, "loss noticed", func() bool { return !m.Stats().Connected })
	for n := 1001; n <= 1500; n++ {
		put(m, n)
	}
	if got := m.ahead.queue.Len(); got != 100 {
		t.Errorf("%d events wait, want the 100 that fit", got)
	}
	if st := m.Stats(); st.DroppedEvents != 400 {
		t.Errorf("%d events dropped, want 400", st.DroppedEvents)
	}
	b.start()
	sub = b.subscribe()
	put(m, 1501)
	sub.wait(TopicStatus, says("online"))
	sub.wait(TopicState, says("roasting"))
	sub.wait(TopicEvents, says("scan 1501."))
	// Those that came after the subscriber was there came in order, none missing.
	list := sub.on(TopicEvents)
	for i, e := range list {
		if want := fmt.Sprintf("scan %d.", 1501-len(list)+1+i); !strings.Contains(e.payload, want) {
			t.Fatalf("event %d of %d is %s, want %s", i, len(list), e.payload, want)
		}
	}
	peertest.Eventually(t, 5*time.Second, "queue empty", func() bool { return m.ahead.queue.Len() == 0 })
}

// A broker that is there but stands still must not be felt by the scan.
func TestMQTTFrozenBroker(t *testing.T) {
	b := newBroker(t).start()
	m := publisher(t, b.address)
	defer m.Close()
	put(m, 1)
	peertest.Eventually(t, 5*time.Second, "connected", func() bool { return m.Stats().Connected && m.ahead.queue.Len() == 0 })
	b.signal(syscall.SIGSTOP)
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	// All of this returns while the broker stands still.
	for n := 2; n < 20002; n++ {
		put(m, n)
	}
	if got := m.ahead.queue.Len(); got > 100 {
		t.Errorf("%d events wait", got)
	}
	peertest.Eventually(t, 10*time.Second, "the frozen broker is noticed", func() bool { return !m.Stats().Connected })
	runtime.GC()
	runtime.ReadMemStats(&after)
	if grown := int64(after.HeapAlloc) - int64(before.HeapAlloc); grown > 4<<20 {
		t.Errorf("heap grew by %d bytes", grown)
	}
	b.signal(syscall.SIGCONT)
	sub := b.subscribe()
	peertest.Eventually(t, 10*time.Second, "connected again", func() bool { return m.Stats().Connected })
	put(m, 20002)
	sub.wait(TopicEvents, says("scan 20002."))
}

func TestMQTTLeavesNoGoroutine(t *testing.T) {
	before := runtime.NumGoroutine()
	m := publisher(t, peertest.FreeAddress(t)) // nobody is there
	put(m, 1)
	peertest.Eventually(t, 5*time.Second, "tried", func() bool { return m.Stats().SkippedMeasurements > 1 })
	m.Close()
	b := newBroker(t).start()
	m = publisher(t, b.address)
	put(m, 1)
	peertest.Eventually(t, 5*time.Second, "connected", func() bool { return m.Stats().Published > 3 })
	m.Close()
	peertest.Eventually(t, 5*time.Second, "as many goroutines as before", func() bool { return runtime.NumGoroutine() <= before })
}

func TestMQTTConfigIsChecked(t *testing.T) {
	for _, c := range []struct {
		name string
		cfg  MQTTConfig
		want string
	}{
		{"no broker", MQTTConfig{Site: "a", Machine: "b"}, "is not an address"},
		{"no scheme", MQTTConfig{Broker: "localhost:1883", Site: "a", Machine: "b"}, "tcp://"},
		{"web", MQTTConfig{Broker: "http://localhost", Site: "a", Machine: "b"}, "tcp://"},
		{"no site", MQTTConfig{Broker: "tcp://h:1", Machine: "b"}, `site "" is empty`},
		{"wildcard", MQTTConfig{Broker: "tcp://h:1", Site: "+", Machine: "b"}, "for subscribers"},
		{"space", MQTTConfig{Broker: "tcp://h:1", Site: "a", Machine: "old drum"}, "space"},
		{"two levels", MQTTConfig{Broker: "tcp://h:1", Site: "a", Machine: "b/c"}, "two levels"},
		{"broker's own", MQTTConfig{Broker: "tcp://h:1", Prefix: "$SYS", Site: "a", Machine: "b"}, "belongs to the broker"},
		{"leading slash", MQTTConfig{Broker: "tcp://h:1", Prefix: "/x", Site: "a", Machine: "b"}, "empty level"},
		{"broken UTF-8", MQTTConfig{Broker: "tcp://h:1", Site: "a\xff", Machine: "b"}, "cannot be printed"},
	} {
		m, err := NewMQTT(c.cfg)
		if err == nil {
			m.Close()
		}
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v, want %q", c.name, err, c.want)
		}
	}
}

func BenchmarkMQTTPut(b *testing.B) {
	m := &MQTT{ahead: newForwarder(nil, 0, 256, nil), wake: make(chan struct{}, 1)}
	s := recordtest.At(0)
	b.ReportAllocs()
	for b.Loop() {
		s.N++
		m.Put(&s)
	}
}

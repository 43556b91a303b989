package telemetry

import (
	"crypto/tls"
	"fmt"
	"log/slog"
	"net/url"
	"os"
	"sync/atomic"
	"time"

	"drumwright/io/point"
	"drumwright/io/record"
)

// MQTTConfig says where to publish.
type MQTTConfig struct {
	Broker             string // tcp://host:1883 or ssl://host:8883
	ClientID           string // "" = from site, machine and host name; no two programs may share one
	Username, Password string
	TLS                *tls.Config
	Prefix             string // "" = drumwright
	Site, Machine      string
	Period             time.Duration // between measurements; 0 = 1 s
	QueueLen           int           // events that may wait for the broker in memory; 0 = 256
	Store              EventStore    // of those that do not, or wait for longer than this program runs; nil = none
	Run                uint64        // number of this run in the store
	Discovery          string        // first part of the topics on which sensors are announced; "" = they are not
	Inputs             []point.Input // that the machine has, for the announcements
	Log                *slog.Logger  // nil = none
}

// MQTTStats are counted since start.
type MQTTStats struct {
	Connected           bool
	Connects            uint64
	Published           uint64
	DroppedEvents       uint64 // there was no room left to wait in, or they waited too long
	SkippedMeasurements uint64 // due while there was no connection
}

// MQTT publishes what is put into it.
type MQTT struct {
	cfg   MQTTConfig
	pace  pace
	base  string
	ahead *forwarder // of the publishing goroutine, but for its queue
	wake  chan struct{}
	stop  chan struct{}
	done  chan struct{}

	last          atomic.Pointer[record.Scan] // never changed once stored
	stateChanged  atomic.Bool
	alarmsChanged atomic.Bool

	connected                    atomic.Bool
	connects, published, skipped atomic.Uint64
}

// pace holds the times that tests shorten.
type pace struct {
	keepAlive  time.Duration // whole seconds
	ping       time.Duration // a broker that does not answer for so long is gone
	connect    time.Duration
	write      time.Duration // of one message, to its acknowledgement if it has one
	firstRetry time.Duration // doubled at each failure
	lastRetry  time.Duration
}

var usual = pace{keepAlive: 10 * time.Second, ping: 5 * time.Second, connect: 5 * time.Second, write: 2 * time.Second,
	firstRetry: 500 * time.Millisecond, lastRetry: 15 * time.Second}

// NewMQTT checks the configuration and starts publishing. The broker need not
// be there yet.
func NewMQTT(cfg MQTTConfig) (*MQTT, error) { return newMQTT(cfg, usual) }

func newMQTT(cfg MQTTConfig, p pace) (*MQTT, error) {
	if cfg.Prefix == "" {
		cfg.Prefix = "drumwright"
	}
	if cfg.Period <= 0 {
		cfg.Period = time.Second
	}
	if cfg.QueueLen <= 0 {
		cfg.QueueLen = 256
	}
	if cfg.Log == nil {
		cfg.Log = slog.New(slog.DiscardHandler)
	}
	top, err := base(cfg.Prefix, cfg.Site, cfg.Machine)
	if err != nil {
		return nil, err
	}
	if cfg.Discovery != "" {
		if err := checkLevel(cfg.Discovery, true); err != nil {
			return nil, fmt.Errorf("mqtt discovery %q %w", cfg.Discovery, err)
		}
	}
	if u, err := url.Parse(cfg.Broker); err != nil || u.Host == "" || u.Scheme != "tcp" && u.Scheme != "ssl" {
		return nil, fmt.Errorf("mqtt broker %q is not an address: write tcp://host:1883, or ssl://host:8883 for TLS", cfg.Broker)
	}
	if cfg.ClientID == "" {
		host, err := os.Hostname()
		if err != nil {
			return nil, fmt.Errorf("mqtt client id: %w; give one in the configuration", err)
		}
		// Joined by what no name may hold: loft-north and 1 are not loft and north-1.
		cfg.ClientID = "drumwright_" + cfg.Site + "_" + cfg.Machine + "_" + host
	}
	m := &MQTT{cfg: cfg, pace: p, base: top, ahead: newForwarder(cfg.Store, cfg.Run, cfg.QueueLen, cfg.Log),
		wake: make(chan struct{}, 1), stop: make(chan struct{}), done: make(chan struct{})}
	go m.run()
	return m, nil
}

// Put takes over the scan's events and what has changed. It never waits; scans
// come from one goroutine.
func (m *MQTT) Put(s *record.Scan) {
	before := m.last.Load()
	now := new(record.Scan)
	*now = *s
	m.last.Store(now)
	wake := s.NumEvents > 0
	for i := range s.NumEvents {
		m.ahead.queue.PutEvent(record.PlacedEvent{Place: record.Place{Run: m.cfg.Run, Scan: s.N, N: i + 1}, Event: record.NewEventView(s, i)})
	}
	if before == nil || record.Changed(before, now) {
		m.stateChanged.Store(true)
		wake = true
	}
	if before == nil || record.AlarmsChanged(before, now) {
		m.alarmsChanged.Store(true)
		wake = true
	}
	if wake {
		select {
		case m.wake <- struct{}{}:
		default:
		}
	}
}

// Stats returns what was counted.
func (m *MQTT) Stats() MQTTStats {
	return MQTTStats{Connected: m.connected.Load(), Connects: m.connects.Load(), Published: m.published.Load(),
		DroppedEvents: m.ahead.dropped(), SkippedMeasurements: m.skipped.Load()}
}

// Close says goodbye to the broker, if it is there, and stops. It takes at most
// some seconds and must be called once.
func (m *MQTT) Close() {
	close(m.stop)
	<-m.done
}

package telemetry

import (
	"net/http"
	"sync/atomic"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"drumwright/io/point"
	"drumwright/io/record"
)

// MetricsConfig says what the records themselves do not.
type MetricsConfig struct {
	States []string         // every state of the batch sequence
	Stale  time.Duration    // without a scan for so long nothing measured is shown; 0 = 3 s
	Buses  func() []BusStat // nil = none
	Drops  func() []Drop    // what other sinks have dropped; nil = none
	Forced func() Forced    // what was done apart from the scans; nil = nothing can be
	Barred func() bool      // whether new roasts are held up; nil = never
}

// BusStat counts what went over a bus since start.
type BusStat struct {
	Bus      string // name in the machine file
	Requests uint64
	Errors   uint64
}

// Drop counts what a sink has dropped since start.
type Drop struct {
	Sink  string // journal, mqtt
	What  string // samples, events
	Count uint64
}

// Forced counts how often heat was turned off apart from a scan that came to a
// stop, since start.
type Forced struct {
	Cuts   uint64 // gaps in which it was
	Failed uint64 // attempts that were not acknowledged
}

// Metrics is a Prometheus collector of the last scan.
type Metrics struct {
	cfg  MetricsConfig
	now  func() time.Time
	last atomic.Pointer[snapshot]
}

var _ prometheus.Collector = (*Metrics)(nil)

// snapshot is never changed once stored.
type snapshot struct {
	scan      record.Scan
	at        time.Time
	lateness  [len(latenessBuckets)]uint64 // scans in each bucket, not cumulative
	scans     uint64
	latenessS float64 // sum
}

// latenessBuckets are upper bounds in seconds.
var latenessBuckets = [...]float64{0.0001, 0.0002, 0.0005, 0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5}

// NewMetrics makes a collector that knows no scan yet.
func NewMetrics(cfg MetricsConfig) *Metrics {
	if cfg.Stale <= 0 {
		cfg.Stale = 3 * time.Second
	}
	m := &Metrics{cfg: cfg, now: time.Now}
	m.last.Store(&snapshot{})
	return m
}

// Put takes the scan as the one to show. Scans come from one goroutine.
func (m *Metrics) Put(s *record.Scan) {
	n := *m.last.Load()
	n.scan, n.at = *s, m.now()
	n.scans++
	late := max(s.Timing.LatenessS, 0)
	n.latenessS += late
	for i, le := range latenessBuckets {
		if late <= le {
			n.lateness[i]++
			break
		}
	}
	m.last.Store(&n)
}

// Handler serves the page: the machine, the Go runtime, the process and the
// build, from a registry of its own.
func (m *Metrics) Handler() http.Handler {
	reg := prometheus.NewRegistry()
	reg.MustRegister(m, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), collectors.NewBuildInfoCollector())
	return promhttp.HandlerFor(reg, promhttp.HandlerOpts{})
}

// Describe implements prometheus.Collector.
func (m *Metrics) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{temperature, quality, contact, state, loopSet, loopDuty, loopPower, loopMode, heaterPermit, alarmActive,
		lastScan, lateness, busRequests, busErrors, dropped, forcedOff, forcedFailed, barred, version} {
		ch <- d
	}
	for i := range gauges {
		ch <- gauges[i].desc
	}
	for i := range counters {
		ch <- counters[i].desc
	}
}

// Collect implements prometheus.Collector.
func (m *Metrics) Collect(ch chan<- prometheus.Metric) {
	s := m.last.Load()
	if s.scans > 0 && m.now().Sub(s.at) < m.cfg.Stale {
		m.collectFresh(ch, &s.scan)
	}
	for i := range counters {
		count(ch, counters[i].desc, counters[i].of(s))
	}
	if s.scans > 0 {
		gauge(ch, lastScan, record.Number(float64(s.scan.UnixNano)/1e9))
	}
	buckets, sum := make(map[float64]uint64, len(latenessBuckets)), uint64(0)
	for i, le := range latenessBuckets {
		sum += s.lateness[i]
		buckets[le] = sum
	}
	ch <- prometheus.MustNewConstHistogram(lateness, s.scans, s.latenessS, buckets)
	if m.cfg.Buses != nil {
		for _, b := range m.cfg.Buses() {
			count(ch, busRequests, b.Requests, b.Bus)
			count(ch, busErrors, b.Errors, b.Bus)
		}
	}
	if m.cfg.Drops != nil {
		for _, d := range m.cfg.Drops() {
			count(ch, dropped, d.Count, d.Sink, d.What)
		}
	}
	if m.cfg.Forced != nil {
		f := m.cfg.Forced()
		count(ch, forcedOff, f.Cuts)
		count(ch, forcedFailed, f.Failed)
	}
	gauge(ch, version, Version)
	if m.cfg.Barred != nil {
		gauge(ch, barred, asNumber(m.cfg.Barred()))
	}
}

// collectFresh gives what is only true while scans come.
func (m *Metrics) collectFresh(ch chan<- prometheus.Metric, s *record.Scan) {
	v := record.NewView(s)
	for i := range point.NumInputs {
		p, ok := v.Points[i.String()]
		if !ok {
			continue
		}
		switch i.Role().Kind {
		case point.Temperature:
			gauge(ch, temperature, p.Value, i.String())
		case point.Contact:
			gauge(ch, contact, p.Value, i.String())
		}
		for _, q := range []point.Quality{point.Good, point.Uncertain, point.Bad} {
			gauge(ch, quality, asNumber(p.Quality == q.String()), i.String(), q.String())
		}
	}
	known := false
	for _, name := range m.cfg.States {
		known = known || name == s.State
		gauge(ch, state, asNumber(name == s.State), name)
	}
	if !known {
		gauge(ch, state, 1, s.State)
	}
	for _, l := range []struct {
		name string
		view record.LoopView
	}{{"air", v.Air}, {"base", v.Base}} {
		gauge(ch, loopSet, l.view.SetC, l.name)
		gauge(ch, loopDuty, l.view.Duty, l.name)
		gauge(ch, loopPower, l.view.PowerW, l.name)
		for mode := record.Off; mode <= record.Experimenting; mode++ {
			gauge(ch, loopMode, asNumber(l.view.Mode == mode.String()), l.name, mode.String())
		}
	}
	for _, o := range []point.Output{point.AirHeaterPower, point.RadiantPower} {
		gauge(ch, heaterPermit, v.Outputs[o.String()].Permit, o.String())
	}
	for i := range s.Alarms.List[:s.Alarms.Num] {
		a := &s.Alarms.List[i]
		gauge(ch, alarmActive, asNumber(a.State.Stands()), a.ID, a.Priority.String())
	}
	for i := range gauges {
		gauge(ch, gauges[i].desc, gauges[i].of(&v, s))
	}
}

// gauge gives a value unless it is not known.
func gauge(ch chan<- prometheus.Metric, d *prometheus.Desc, v record.Number, labels ...string) {
	if v.Known() {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, float64(v), labels...)
	}
}

func count(ch chan<- prometheus.Metric, d *prometheus.Desc, v uint64, labels ...string) {
	ch <- prometheus.MustNewConstMetric(d, prometheus.CounterValue, float64(v), labels...)
}

func asNumber(on bool) record.Number {
	if on {
		return 1
	}
	return 0
}

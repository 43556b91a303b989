package main

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io"
	"log/slog"
	"math"
	"os"
	"slices"
	"strings"

	"drumwright/control"
	"drumwright/io/fieldbus"
	"drumwright/io/journal"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/telemetry"
	"drumwright/profiles"
)

// eventLog writes what happens to the log.
type eventLog struct{ log *slog.Logger }

// Put logs the events of one scan.
func (l *eventLog) Put(s *record.Scan) {
	for i := range s.NumEvents {
		e := &s.Events[i]
		level := slog.LevelInfo
		switch e.Kind {
		case record.Trip, record.Escalated:
			level = slog.LevelError
		case record.Warning, record.Rejected, record.Realarm, record.Flood:
			level = slog.LevelWarn
		}
		l.log.Log(context.Background(), level, e.Kind.String(), "name", e.Name, "text", e.Text, "state", s.State, "scan_s", math.Round(s.ScanS*10)/10)
	}
}

// punctuality collects how late each scan began and how long it took.
type punctuality struct {
	late, busy []float32 // ms
	scans      uint64
	overruns   uint64
}

// keptScans bounds what is collected: an hour at 10 Hz.
const keptScans = 36000

func newPunctuality() *punctuality {
	return &punctuality{late: make([]float32, 0, keptScans), busy: make([]float32, 0, keptScans)}
}

// Put takes the timing of one scan.
func (p *punctuality) Put(s *record.Scan) {
	p.scans, p.overruns = s.N, s.Timing.Overruns
	if len(p.late) < keptScans {
		p.late = append(p.late, float32(1000*s.Timing.LatenessS))
		p.busy = append(p.busy, float32(1000*(s.Timing.ReadS+s.Timing.StepS+s.Timing.WriteS)))
	}
}

func (p *punctuality) print(w io.Writer) {
	row := func(name string, v []float32) {
		if len(v) == 0 {
			return
		}
		slices.Sort(v)
		at := func(q float64) float32 { return v[min(len(v)-1, int(q*float64(len(v))))] }
		fmt.Fprintf(w, "%-9s p50 %.3f ms, p99 %.3f ms, p99.9 %.3f ms, max %.3f ms\n", name, at(0.5), at(0.99), at(0.999), v[len(v)-1])
	}
	fmt.Fprintf(w, "%d scans, %d missed\n", p.scans, p.overruns)
	row("lateness", p.late)
	row("work", p.busy)
}

func busStats(f *fieldbus.Fieldbus) []telemetry.BusStat {
	var out []telemetry.BusStat
	for _, b := range f.Stats().Buses {
		s := telemetry.BusStat{Bus: b.Name}
		for _, u := range b.Units {
			s.Requests += u.Requests
			for _, n := range u.Errors {
				s.Errors += n
			}
		}
		out = append(out, s)
	}
	return out
}

func forcedBy(m *control.Monitor) telemetry.Forced {
	if m == nil { // in practice nobody watches the scan
		return telemetry.Forced{}
	}
	cuts, failed := m.Cuts()
	return telemetry.Forced{Cuts: cuts, Failed: failed}
}

// dropsOf counts what journal and MQTT could not keep up with; mqtt may be nil.
func dropsOf(keep *journal.Sink, mqtt *telemetry.MQTT) func() []telemetry.Drop {
	return func() []telemetry.Drop {
		s := keep.Stats()
		drops := []telemetry.Drop{
			{Sink: "journal", What: "samples", Count: s.DroppedSamples},
			{Sink: "journal", What: "events", Count: s.DroppedEvents},
		}
		if mqtt != nil {
			m := mqtt.Stats()
			drops = append(drops, telemetry.Drop{Sink: "mqtt", What: "events", Count: m.DroppedEvents},
				telemetry.Drop{Sink: "mqtt", What: "measurements", Count: m.SkippedMeasurements})
		}
		return drops
	}
}

func newMQTT(m *profiles.Machine, keep *journal.Sink, log *slog.Logger) (*telemetry.MQTT, error) {
	t := m.Telemetry.MQTT
	cfg := telemetry.MQTTConfig{Broker: t.Broker, Username: t.User, Prefix: t.Prefix, Site: m.About.Site, Machine: m.About.Name,
		Period: seconds(m.Telemetry.EveryS), Store: forwardedTo(t.Broker, keep), Run: keep.RunID(), Discovery: t.Discovery, Log: log}
	if t.Discovery != "" {
		for i := range point.NumInputs {
			if m.HasIn[i] {
				cfg.Inputs = append(cfg.Inputs, i)
			}
		}
	}
	if t.CAFile != "" {
		text, err := os.ReadFile(t.CAFile)
		if err != nil {
			return nil, fmt.Errorf("telemetry.mqtt.ca_file: %w", err)
		}
		cfg.TLS = &tls.Config{RootCAs: x509.NewCertPool(), MinVersion: tls.VersionTLS12}
		if !cfg.TLS.RootCAs.AppendCertsFromPEM(text) {
			return nil, fmt.Errorf("telemetry.mqtt.ca_file: %s holds no certificate in PEM form", t.CAFile)
		}
	}
	if t.PasswordFile != "" {
		text, err := os.ReadFile(t.PasswordFile)
		if err != nil {
			return nil, fmt.Errorf("telemetry.mqtt.password_file: %w", err)
		}
		cfg.Password = strings.TrimSpace(string(text))
	}
	return telemetry.NewMQTT(cfg)
}

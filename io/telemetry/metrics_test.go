package telemetry

import (
	"bytes"
	"flag"
	"fmt"
	"io"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/promhttp"
	"github.com/prometheus/client_golang/prometheus/testutil"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

var update = flag.Bool("update", false, "rewrite golden files")

// metrics is a collector with everything filled and a clock that stands.
func metrics() (*Metrics, *time.Time) {
	m := NewMetrics(MetricsConfig{States: []string{"cold", "warming", "roasting"},
		Buses:  func() []BusStat { return []BusStat{{"heaters", 4000, 3}, {"drives", 2000, 0}} },
		Drops:  func() []Drop { return []Drop{{"journal", "samples", 0}, {"mqtt", "events", 7}} },
		Forced: func() Forced { return Forced{Cuts: 2, Failed: 5} }, Barred: func() bool { return true }})
	now := recordtest.Start
	m.now = func() time.Time { return now }
	return m, &now
}

func page(t *testing.T, m *Metrics) []byte {
	t.Helper()
	reg := prometheus.NewPedanticRegistry()
	if err := reg.Register(m); err != nil {
		t.Fatal(err)
	}
	w := httptest.NewRecorder()
	promhttp.HandlerFor(reg, promhttp.HandlerOpts{}).ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
	if w.Code != 200 || w.Body.Len() == 0 {
		t.Fatalf("status %d, %d bytes: %s", w.Code, w.Body.Len(), w.Body)
	}
	return w.Body.Bytes()
}

func TestPageGolden(t *testing.T) {
	m, _ := metrics()
	for i, late := range []float64{0.00005, 0.0006, 0.0007, 0.03, 0.9} {
		s := recordtest.At(i)
		s.Timing.LatenessS = late
		m.Put(&s)
	}
	got := page(t, m)
	const path = "testdata/metrics.txt"
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("the page differs from %s (rewrite it with -update if that is meant):\n%s", path, got)
	}
}

// The naming rules are Prometheus's own, as its client library checks them.
func TestLint(t *testing.T) {
	m, _ := metrics()
	s := recordtest.Roasting()
	m.Put(&s)
	reg := prometheus.NewPedanticRegistry()
	reg.MustRegister(m)
	problems, err := testutil.GatherAndLint(reg)
	if err != nil {
		t.Fatal(err)
	}
	for _, p := range problems {
		t.Errorf("%s: %s", p.Metric, p.Text)
	}
}

func TestDoubtfulValuesAreLeftOut(t *testing.T) {
	m, now := metrics()
	has := func(want bool, line string) {
		t.Helper()
		if got := strings.Contains(string(page(t, m)), "\n"+line); got != want {
			t.Errorf("%q on the page: %v, want %v", line, got, want)
		}
	}
	has(false, "drumwright_temperature_celsius")
	has(false, "drumwright_heat_permitted")
	has(true, "drumwright_scans_total 0")

	s := recordtest.Roasting()
	s.Image.In[point.CoverClosed] = point.Value{V: 1, Quality: point.Bad, Cause: point.Timeout}
	s.Bean.EstimatorOff = true
	s.Air.Mode = record.Off
	s.Drum.MeasuredMMPerS = 0
	m.Put(&s)
	has(true, `drumwright_temperature_celsius{point="bean"} 171.4`)
	has(true, `drumwright_temperature_celsius{point="exhaust"} 201.1`)
	has(false, `drumwright_temperature_celsius{point="ambient"}`)
	has(true, `drumwright_point_quality{point="ambient",quality="bad"} 1`)
	has(true, `drumwright_point_quality{point="ambient",quality="good"} 0`)
	has(false, `drumwright_temperature_celsius{point="cooling_tray"}`)
	has(false, `drumwright_point_quality{point="cooling_tray"`)
	has(false, `drumwright_contact_on{point="cover_closed"}`)
	has(false, "drumwright_rate_of_rise_kelvin_per_second")
	has(false, `drumwright_loop_set_celsius{loop="air"}`)
	has(true, `drumwright_loop_set_celsius{loop="base"} 190`)
	has(false, "drumwright_drum_skin_speed_meters_per_second")

	*now = now.Add(2999 * time.Millisecond)
	has(true, `drumwright_temperature_celsius{point="bean"} 171.4`)
	*now = now.Add(time.Millisecond)
	has(false, "drumwright_temperature_celsius")
	has(false, "drumwright_point_quality")
	has(false, "drumwright_state")
	has(true, "drumwright_scans_total 1")
	has(true, "drumwright_trips_total 2")
	has(true, "drumwright_last_scan_timestamp_seconds")
}

func TestStateOutsideTheListIsShown(t *testing.T) {
	m, _ := metrics()
	s := recordtest.Roasting()
	s.State = "held"
	m.Put(&s)
	if p := string(page(t, m)); !strings.Contains(p, `drumwright_state{state="held"} 1`) || !strings.Contains(p, `drumwright_state{state="cold"} 0`) {
		t.Error(p)
	}
}

// Every alarm of the machine has its line, whatever its state.
func TestAlarmLines(t *testing.T) {
	m, _ := metrics()
	s := recordtest.Roasting()
	s.Alarms.Flood = true
	for state := record.AlarmNormal; state <= record.AlarmLatchedAcknowledged; state++ {
		s.Alarms.List[0].State = state
		m.Put(&s)
		p := string(page(t, m))
		active, waits := 0, 1 // of the others one waits
		if state.Stands() {
			active = 1
		}
		if state.Unacknowledged() {
			waits++
		}
		for _, line := range []string{fmt.Sprintf(`drumwright_alarm_active{cause="drum_stall",priority="critical"} %d`, active),
			`drumwright_alarm_active{cause="mains_low",priority="low"} 0`, fmt.Sprintf("drumwright_alarms_unacknowledged %d", waits), "drumwright_alarm_flood 1"} {
			if !strings.Contains(p, "\n"+line+"\n") {
				t.Errorf("%s: no %q on the page", state, line)
			}
		}
	}
}

// Scrapes and scans meet at any moment.
func TestScrapesBesideScans(t *testing.T) {
	m := NewMetrics(MetricsConfig{})
	stop, done := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(done)
		for i := 0; ; i++ {
			select {
			case <-stop:
				return
			default:
				s := recordtest.At(i)
				m.Put(&s)
			}
		}
	}()
	h := m.Handler()
	for range 20 {
		w := httptest.NewRecorder()
		h.ServeHTTP(w, httptest.NewRequest("GET", "/metrics", nil))
		if body, _ := io.ReadAll(w.Body); w.Code != 200 || !bytes.Contains(body, []byte("go_build_info")) || !bytes.Contains(body, []byte("process_start_time_seconds")) {
			t.Fatalf("%d\n%s", w.Code, body)
		}
	}
	close(stop)
	<-done
}

func BenchmarkMetricsPut(b *testing.B) {
	m := NewMetrics(MetricsConfig{})
	s := recordtest.Roasting()
	b.ReportAllocs()
	for b.Loop() {
		m.Put(&s)
	}
}

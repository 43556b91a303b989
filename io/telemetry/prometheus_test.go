package telemetry

import (
	"bytes"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/io/record/recordtest"

	"drumwright/io/peertest"
)

func TestPromtoolFindsNoFault(t *testing.T) {
	promtool := peertest.Find(t, "promtool")
	m, _ := metrics()
	s := recordtest.Roasting()
	m.Put(&s)
	check := func(page []byte) ([]byte, error) {
		c := exec.Command(promtool, "check", "metrics")
		c.Stdin = bytes.NewReader(page)
		return c.CombinedOutput()
	}
	if out, err := check(page(t, m)); err != nil || len(out) > 0 {
		t.Errorf("%v\n%s", err, out)
	}
	if _, err := check([]byte("# TYPE Bad counter\nBad 1\n")); err == nil {
		t.Error("promtool let a bad page pass, so its silence says nothing")
	}
	if out, err := exec.Command(promtool, "check", "config", "../../deploy/prometheus/prometheus.yml").CombinedOutput(); err != nil {
		t.Errorf("deploy/prometheus/prometheus.yml: %v\n%s", err, out)
	}
}

// A real Prometheus scrapes the page, with the shipped configuration but for
// the address and the interval.
func TestPrometheusScrapes(t *testing.T) {
	prometheus := peertest.Find(t, "prometheus")
	m := NewMetrics(MetricsConfig{Stale: time.Hour})
	s := recordtest.Roasting()
	m.Put(&s)
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", m.Handler())
	srv := httptest.NewServer(mux)
	defer srv.Close()

	shipped, err := os.ReadFile("../../deploy/prometheus/prometheus.yml")
	if err != nil {
		t.Fatal(err)
	}
	config := string(shipped)
	for _, r := range [][2]string{{"127.0.0.1:8420", strings.TrimPrefix(srv.URL, "http://")}, {"scrape_interval: 5s", "scrape_interval: 500ms"}, {"scrape_timeout: 4s", "scrape_timeout: 400ms"}} {
		if !strings.Contains(config, r[0]) {
			t.Fatalf("the shipped configuration has no %q", r[0])
		}
		config = strings.ReplaceAll(config, r[0], r[1])
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "prometheus.yml")
	if err := os.WriteFile(file, []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	address := peertest.FreeAddress(t)
	var log bytes.Buffer
	c := exec.Command(prometheus, "--config.file="+file, "--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+address)
	c.Stdout, c.Stderr = &log, &log
	if err := c.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() {
		c.Process.Kill()
		c.Wait()
		if t.Failed() {
			t.Log(log.String())
		}
	}()

	ask := func(query string) string {
		resp, err := http.Get("http://" + address + "/api/v1/query?query=" + url.QueryEscape(query))
		if err != nil {
			return ""
		}
		defer resp.Body.Close()
		var r struct {
			Data struct {
				Result []struct{ Value [2]any }
			}
		}
		if err := json.NewDecoder(resp.Body).Decode(&r); err != nil || len(r.Data.Result) != 1 {
			return ""
		}
		return fmt.Sprint(r.Data.Result[0].Value[1])
	}
	peertest.Eventually(t, 20*time.Second, "scraped", func() bool { return ask(`up{job="drumwright"}`) == "1" })
	for query, want := range map[string]string{
		`drumwright_temperature_celsius{point="bean"}`:            "171.4",
		`drumwright_state{state="roasting"}`:                      "1",
		`drumwright_drum_skin_speed_meters_per_second`:            "0.818",
		`count(drumwright_temperature_celsius)`:                   "4",
		`drumwright_scan_lateness_seconds_count`:                  "1",
		`drumwright_scan_lateness_seconds_bucket{le="0.001"}`:     "1",
		`drumwright_scan_lateness_seconds_bucket{le="0.0005"}`:    "0",
		`absent(drumwright_temperature_celsius{point="ambient"})`: "1",
	} {
		if got := ask(query); got != want {
			t.Errorf("%s is %q, want %s", query, got, want)
		}
	}
}

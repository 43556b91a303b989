package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/batch"
	"drumwright/control/plant/registers"
	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/io/telemetry"
)

// patience is how long another process may take on a loaded computer.
const patience = 30 * time.Second

// brokerWithEar starts a real broker, and a subscriber to all topics of ours; seen
// is what it hears.
func brokerWithEar(t *testing.T, log *peertest.Buffer) (address string, seen *peertest.Buffer) {
	t.Helper()
	mosquitto, sub := peertest.Find(t, "mosquitto"), peertest.Find(t, "mosquitto_sub")
	address, seen = peertest.FreeAddress(t), &peertest.Buffer{}
	_, port, _ := net.SplitHostPort(address)
	config := filepath.Join(t.TempDir(), "broker.conf")
	if err := os.WriteFile(config, []byte("listener "+port+" 127.0.0.1\nallow_anonymous true\npersistence false\nmax_queued_messages 0\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	peertest.Start(t, log, mosquitto, "-c", config)
	peertest.Eventually(t, patience, "the broker", func() bool {
		c, err := net.Dial("tcp", address)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	peertest.Start(t, seen, sub, "-h", "127.0.0.1", "-p", port, "-q", "1", "-v", "-t", "drumwright/#")
	return address, seen
}

// prometheusOf starts a real Prometheus on a configuration and a folder of data,
// and waits until it answers at the address given back.
func prometheusOf(t *testing.T, log *peertest.Buffer, data, config string, more ...string) (address string) {
	t.Helper()
	program := peertest.Find(t, "prometheus")
	file := filepath.Join(t.TempDir(), "prometheus.yml")
	if err := os.WriteFile(file, []byte(config), 0o600); err != nil {
		t.Fatal(err)
	}
	address = peertest.FreeAddress(t)
	peertest.Start(t, log, program, append([]string{"--config.file=" + file, "--storage.tsdb.path=" + data, "--web.listen-address=" + address}, more...)...)
	peertest.Eventually(t, patience, "Prometheus", func() bool {
		res, err := http.Get("http://" + address + "/-/ready")
		if err != nil {
			return false
		}
		res.Body.Close()
		return res.StatusCode == http.StatusOK
	})
	return address
}

// A whole batch on the simulated machine is seen by a real broker's subscriber
// and a real Prometheus holds its series.
func TestBatchSeenByPeers(t *testing.T) {
	var log peertest.Buffer
	broker, seen := brokerWithEar(t, &log)

	m, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	r, err := recipeFrom("harbour-medium")
	if err != nil {
		t.Fatal(err)
	}
	metrics := telemetry.NewMetrics(telemetry.MetricsConfig{States: batch.Names()})
	web := httptest.NewServer(metrics.Handler())
	defer web.Close()
	target, _ := url.Parse(web.URL)
	api := prometheusOf(t, &log, filepath.Join(t.TempDir(), "data"), fmt.Sprintf(
		"global: {scrape_interval: 250ms, scrape_timeout: 250ms}\nscrape_configs: [{job_name: drumwright, metrics_path: /, static_configs: [{targets: ['%s']}]}]\n", target.Host))

	peertest.Eventually(t, patience, "Prometheus to scrape", func() bool { return results(t, api, "up == 1") > 0 })

	mqtt, err := telemetry.NewMQTT(telemetry.MQTTConfig{Broker: "tcp://" + broker, Site: m.About.Site, Machine: m.About.Name, QueueLen: 4096, Period: 100 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	peertest.Eventually(t, patience, "the publisher", func() bool { return strings.Contains(seen.String(), "/status online") })
	// A simulated batch may be over between two scrapes: it stands still at the last
	// moment until that was scraped.
	scraped := false
	res, err := rehearsal.Run(context.Background(), rehearsal.Plan{Machine: m, Recipe: r, Seed: 3, Batches: 1, Mismatch: registers.Drawn(3), Sinks: []control.Sink{mqtt, metrics},
		Beside: func(x *rehearsal.Moment) bool {
			if !scraped && x.Last.Bean.Loss > 0.05 && x.Last.Image.In[point.Bean].V > 190 {
				scraped = peertest.Within(patience, func() bool { return results(t, api, `drumwright_mass_loss_ratio > 0.05`) > 0 })
			}
			return false
		}})
	if err != nil {
		t.Fatal(err)
	}
	mqtt.Close()
	if len(res.Batches) != 1 || len(res.Trips) != 0 {
		t.Fatalf("batches %v, trips %v", res.Batches, res.Trips)
	}
	top := "drumwright/" + m.About.Site + "/" + m.About.Name
	peertest.Eventually(t, patience, "the subscriber to see the end", func() bool { return strings.Contains(seen.String(), top+"/status offline") })
	for _, want := range []string{"charge", "turning point", "first crack", "drop", "cooled"} {
		if !strings.Contains(seen.String(), `"name":"`+want+`"`) {
			t.Errorf("mosquitto_sub did not see the milestone %q", want)
		}
	}
	for _, want := range []string{"/measurements {", "/state {", "/alarms {"} {
		if !strings.Contains(seen.String(), top+want) {
			t.Errorf("mosquitto_sub saw no %s", want)
		}
	}
	for _, query := range []string{
		`max_over_time(drumwright_state{state="roasting"}[5m]) > 0`,
		`max_over_time(drumwright_temperature_celsius{point="bean"}[5m]) > 190`,
		`max_over_time(drumwright_mass_loss_ratio[5m]) > 0.05`,
		`max_over_time(drumwright_heat_permitted[5m]) == 1`,
		`max_over_time(drumwright_trips_total[5m]) == 0`,
	} {
		if n := results(t, api, query); n == 0 {
			t.Errorf("Prometheus has nothing for %s\n%s", query, log.String())
		}
	}
}

// results is the number of series that a query gives.
func results(t *testing.T, api, query string) int {
	t.Helper()
	res, err := http.Get("http://" + api + "/api/v1/query?query=" + url.QueryEscape(query))
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var answer struct {
		Status string
		Data   struct{ Result []any }
	}
	if err := json.NewDecoder(res.Body).Decode(&answer); err != nil {
		t.Fatal(err)
	}
	if answer.Status != "success" {
		t.Fatalf("query %s: %s", query, answer.Status)
	}
	return len(answer.Data.Result)
}

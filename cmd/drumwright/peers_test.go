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
	"drumwright/io/telemetry"
)

// patience is how long another process may take on a loaded computer.
const patience = 30 * time.Second

// A whole batch on the simulated machine is seen by a real broker's subscriber
// and a real Prometheus holds its series.
func TestBatchSeenByPeers(t *testing.T) {
	mosquitto, sub, prometheus := peertest.Find(t, "mosquitto"), peertest.Find(t, "mosquitto_sub"), peertest.Find(t, "prometheus")
	dir := t.TempDir()
	write := func(name, text string) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}

	broker := peertest.FreeAddress(t)
	_, brokerPort, _ := net.SplitHostPort(broker)
	var log, seen peertest.Buffer
	peertest.Start(t, &log, mosquitto, "-c", write("broker.conf", "listener "+brokerPort+" 127.0.0.1\nallow_anonymous true\npersistence false\nmax_queued_messages 0\n"))
	peertest.Eventually(t, patience, "the broker", func() bool {
		c, err := net.Dial("tcp", broker)
		if err == nil {
			c.Close()
		}
		return err == nil
	})
	peertest.Start(t, &seen, sub, "-h", "127.0.0.1", "-p", brokerPort, "-q", "1", "-v", "-t", "drumwright/#")

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
	api := peertest.FreeAddress(t)
	peertest.Start(t, &log, prometheus, "--config.file="+write("prometheus.yml", fmt.Sprintf(
		"global: {scrape_interval: 250ms, scrape_timeout: 250ms}\nscrape_configs: [{job_name: drumwright, metrics_path: /, static_configs: [{targets: ['%s']}]}]\n", target.Host)),
		"--storage.tsdb.path="+filepath.Join(dir, "data"), "--web.listen-address="+api)
	peertest.Eventually(t, patience, "Prometheus", func() bool {
		res, err := http.Get("http://" + api + "/-/ready")
		if err != nil {
			return false
		}
		res.Body.Close()
		return res.StatusCode == http.StatusOK
	})

	peertest.Eventually(t, patience, "Prometheus to scrape", func() bool { return results(t, api, "up == 1") > 0 })

	mqtt, err := telemetry.NewMQTT(telemetry.MQTTConfig{Broker: "tcp://" + broker, Site: m.About.Site, Machine: m.About.Name, QueueLen: 4096, Period: 100 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	peertest.Eventually(t, patience, "the publisher", func() bool { return strings.Contains(seen.String(), "/status online") })
	res, err := rehearsal.Run(context.Background(), rehearsal.Plan{Machine: m, Recipe: r, Seed: 3, Batches: 1, Mismatch: registers.Drawn(3), Sinks: []control.Sink{mqtt, metrics}})
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

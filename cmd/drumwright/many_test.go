package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"strconv"
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
	"drumwright/profiles"
)

// Ten machines of two kinds in three shops, whose names run into one another
// where a separator is one that names may hold.
var tenMachines = [][2]string{
	{"loft", "north-1"}, {"loft-north", "1"}, {"loft", "1"}, {"loft", "2"}, {"loft-north", "2"},
	{"yard", "1"}, {"yard", "2"}, {"yard", "north-1"}, {"yard", "spare"}, {"loft", "spare"},
}

var unitOrPlace = regexp.MustCompile(`\b(unit|address|base): (0x[0-9A-Fa-f]+|[0-9]+)`)

// relaid is a machine file whose devices have other unit ids and other registers.
func relaid(t *testing.T, text []byte, shift int) []byte {
	t.Helper()
	return unitOrPlace.ReplaceAllFunc(text, func(b []byte) []byte {
		key, number, _ := strings.Cut(string(b), ": ")
		n, err := strconv.ParseInt(number, 0, 32)
		if err != nil {
			t.Fatal(err)
		}
		by := 100 * shift
		if key == "unit" {
			by = 10 * shift
		}
		return fmt.Appendf(nil, "%s: %d", key, int(n)+by)
	})
}

// named is a shipped machine under another name, its registers moved.
func named(t *testing.T, example, site, name string, shift int) *profiles.Machine {
	t.Helper()
	text, _ := profiles.Example("machines/" + example + ".yaml")
	old, err := profiles.ParseMachine(example, text)
	if err != nil {
		t.Fatal(err)
	}
	text = bytes.Replace(text, []byte("\n  name: "+old.About.Name), []byte("\n  name: \""+name+"\""), 1)
	text = bytes.Replace(text, []byte("\n  site: "+old.About.Site), []byte("\n  site: \""+site+"\""), 1)
	m, err := profiles.ParseMachine(example, relaid(t, text, shift))
	if err != nil || m.About.Name != name || m.About.Site != site || int(m.In[point.Bean].Unit) != int(old.In[point.Bean].Unit)+10*shift || int(m.In[point.Bean].Address) != int(old.In[point.Bean].Address)+100*shift {
		t.Fatalf("%v: %+v", err, m)
	}
	return m
}

// Ten machines, no two of which have a register in one place, keep apart on one
// broker and one Prometheus: nobody throws another
// off the broker, every topic and every series is one machine's own, and its figures
// are those of its own scans. That every query of the dashboard finds something
// for each of ten is shown by TestDashboardFindsAll.
func TestTenMachinesKeepApart(t *testing.T) {
	peertest.OnceIsEnough(t)
	t.Parallel() // it waits for others, most of the time
	var log peertest.Buffer
	broker, seen := brokerWithEar(t, &log)

	var targets strings.Builder
	scans := make([]uint64, len(tenMachines))
	for i, id := range tenMachines {
		example, recipe := "heron-1000", "harbour-medium"
		if i%2 == 1 {
			example, recipe = "lark-300", "window-stages"
		}
		m := named(t, example, id[0], id[1], i)
		r, err := recipeFrom(recipe)
		if err != nil {
			t.Fatal(err)
		}
		metrics := telemetry.NewMetrics(telemetry.MetricsConfig{States: batch.Names(), Stale: time.Hour})
		web := httptest.NewServer(metrics.Handler())
		defer web.Close()
		fmt.Fprintf(&targets, "  - {targets: [%q], labels: {site: %q, machine: %q}}\n", strings.TrimPrefix(web.URL, "http://"), id[0], id[1])
		mqtt, err := telemetry.NewMQTT(telemetry.MQTTConfig{Broker: "tcp://" + broker, Site: id[0], Machine: id[1], Period: 100 * time.Millisecond})
		if err != nil {
			t.Fatal(err)
		}
		defer mqtt.Close()
		peertest.Eventually(t, patience, "the publisher "+id[1], func() bool {
			return strings.Contains(seen.String(), "drumwright/"+id[0]+"/"+id[1]+"/status online")
		})
		want := uint64(50 + 10*i) // of each its own number
		_, err = rehearsal.Run(context.Background(), rehearsal.Plan{Machine: m, Recipe: r, Seed: 3, Batches: 1, Mismatch: registers.Drawn(3), Sinks: []control.Sink{mqtt, metrics},
			Beside: func(x *rehearsal.Moment) bool { scans[i] = x.Last.N; return x.Last.N >= want }})
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, id := range tenMachines {
		top := "drumwright/" + id[0] + "/" + id[1]
		peertest.Eventually(t, patience, "state and measurements of "+top, func() bool {
			return strings.Contains(seen.String(), top+"/state {") && strings.Contains(seen.String(), top+"/measurements {")
		})
	}
	// A second program under one name at the broker would have thrown the first off.
	if text := seen.String(); strings.Contains(text, "/status offline") || strings.Count(text, "/status online") != len(tenMachines) {
		t.Errorf("%d came, some went:\n%s", strings.Count(text, "/status online"), log.String())
	}

	api := prometheusOf(t, &log, filepath.Join(t.TempDir(), "data"),
		"global: {scrape_interval: 250ms, scrape_timeout: 250ms}\nscrape_configs:\n- job_name: drumwright\n  metrics_path: /\n  static_configs:\n"+targets.String())
	got := map[string]string{}
	peertest.Eventually(t, patience, "ten machines in Prometheus", func() bool {
		got = scansOf(api)
		return len(got) == len(tenMachines)
	})
	for i, id := range tenMachines {
		if want := fmt.Sprint(scans[i]); got[id[0]+" "+id[1]] != want {
			t.Errorf("%s in %s: Prometheus has %q scans, the machine made %s", id[1], id[0], got[id[0]+" "+id[1]], want)
		}
	}
}

// scansOf is the scans that a Prometheus knows of, by site and machine.
func scansOf(api string) map[string]string {
	res, err := http.Get("http://" + api + "/api/v1/query?query=" + url.QueryEscape("drumwright_scans_total"))
	if err != nil {
		return nil
	}
	defer res.Body.Close()
	var answer struct {
		Data struct {
			Result []struct {
				Metric struct{ Site, Machine string }
				Value  [2]any
			}
		}
	}
	if json.NewDecoder(res.Body).Decode(&answer) != nil {
		return nil
	}
	got := map[string]string{}
	for _, r := range answer.Data.Result {
		got[r.Metric.Site+" "+r.Metric.Machine] = fmt.Sprint(r.Value[1])
	}
	return got
}

package main

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"
	"gopkg.in/yaml.v3"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/batch"
	"drumwright/control/plant/registers"
	"drumwright/io/fieldbus"
	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/io/telemetry"
)

// history writes what each scrape of a simulated day would have found, stamped
// with the day's own time, in the OpenMetrics text format.
type history struct {
	*telemetry.Metrics
	reg           *prometheus.Registry
	out           *bufio.Writer
	as            [][2]string // site and machine of each machine that has had this day
	machine       string      // the shipped one that was played
	firstS, lastS int64
	err           error
}

const scrapeS = 15

var dayStart = time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)

func (h *history) Put(s *record.Scan) {
	now := *s // in lockstep the wall clock says nothing about the day
	now.UnixNano = dayStart.Add(time.Duration(s.ScanS * float64(time.Second))).UnixNano()
	h.Metrics.Put(&now)
	at := now.UnixNano / 1e9
	if h.err != nil || at < h.lastS+scrapeS {
		return
	}
	if h.firstS == 0 {
		h.firstS = at
	}
	h.lastS = at
	families, err := h.reg.Gather()
	if err != nil {
		h.err = err
		return
	}
	for _, f := range families {
		for _, m := range f.Metric {
			line := func(name string, v float64, extra string) {
				for _, id := range h.as {
					fmt.Fprintf(h.out, "%s{site=%q,machine=%q%s} %v %d\n", name, id[0], id[1], labelsOf(m)+extra, v, at)
				}
			}
			switch {
			case m.Gauge != nil:
				line(f.GetName(), m.Gauge.GetValue(), "")
			case m.Counter != nil:
				line(f.GetName(), m.Counter.GetValue(), "")
			case m.Histogram != nil:
				for _, b := range m.Histogram.Bucket {
					line(f.GetName()+"_bucket", float64(b.GetCumulativeCount()), fmt.Sprintf(",le=\"%v\"", b.GetUpperBound()))
				}
				line(f.GetName()+"_bucket", float64(m.Histogram.GetSampleCount()), `,le="+Inf"`)
				line(f.GetName()+"_count", float64(m.Histogram.GetSampleCount()), "")
				line(f.GetName()+"_sum", m.Histogram.GetSampleSum(), "")
			default:
				h.err = fmt.Errorf("%s is of a type that this test does not know", f.GetName())
			}
		}
	}
}

func labelsOf(m *dto.Metric) string {
	var b strings.Builder
	for _, l := range m.Label {
		fmt.Fprintf(&b, ",%s=%q", l.GetName(), l.GetValue())
	}
	return b.String()
}

// Every query of the shipped dashboard, and every recording rule, finds something
// for each of ten machines of two layouts in a Prometheus that holds a simulated day
// of each layout, and nothing for a machine that is not there.
func TestDashboardFindsAll(t *testing.T) {
	peertest.OnceIsEnough(t)
	promtool := peertest.Find(t, "promtool")
	dir := t.TempDir()
	file, err := os.Create(filepath.Join(dir, "day.txt"))
	if err != nil {
		t.Fatal(err)
	}
	out := bufio.NewWriter(file)
	days := []*history{dayOf(t, out, "heron-1000", "harbour-medium", tenMachines[:5]), dayOf(t, out, "lark-300", "window-stages", tenMachines[5:])}
	fmt.Fprintln(out, "# EOF")
	if err := out.Flush(); err != nil {
		t.Fatal(err)
	}
	file.Close()
	data := filepath.Join(dir, "data")
	if text, err := exec.Command(promtool, "tsdb", "create-blocks-from", "openmetrics", file.Name(), data).CombinedOutput(); err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	var log peertest.Buffer
	address := prometheusOf(t, &log, data, "global: {}\n", "--storage.tsdb.retention.time=200y")

	queries := shippedQueries(t)
	for _, h := range days {
		for _, id := range append([][2]string{{h.as[0][0], "nobody"}, {"nowhere", h.as[0][1]}}, h.as...) {
			fill := strings.NewReplacer("$site", id[0], "$machine", id[1], "$__rate_interval", "5m", "$__interval", "1m")
			there := slices.Contains(h.as, id)
			for place, query := range queries {
				q := fill.Replace(query)
				if strings.Contains(q, "$") {
					t.Errorf("%s: the query %s holds a variable that the dashboard does not define", place, q)
				}
				if h.machine == "lark-300" && strings.Contains(q, "target_bean") {
					continue // its recipe goes by stages and wants no bean temperature
				}
				n := overDay(t, address, q, h)
				if there && n == 0 {
					t.Errorf("%s: nothing is found for %s in %s by\n%s", place, id[1], id[0], q)
				}
				if !there && n > 0 && strings.Contains(query, "$machine") {
					t.Errorf("%s: other machines' figures are shown for %s in %s by\n%s", place, id[1], id[0], q)
				}
			}
		}
		for _, label := range []string{"site", "machine"} {
			if q := fmt.Sprintf("count by (%s) (drumwright_telemetry_version)", label); overDay(t, address, q, h) == 0 {
				t.Errorf("the variable %s has no values", label)
			}
		}
	}
	if t.Failed() {
		t.Log(log.String())
	}
}

// dayOf plays a batch from the warm machine until the beans are out.
func dayOf(t *testing.T, out *bufio.Writer, machine, recipe string, as [][2]string) *history {
	t.Helper()
	m, err := machineFrom(machine)
	if err != nil {
		t.Fatal(err)
	}
	r, err := recipeFrom(recipe)
	if err != nil {
		t.Fatal(err)
	}
	var bus *fieldbus.Fieldbus
	h := &history{reg: prometheus.NewRegistry(), out: out, as: as, machine: machine}
	h.Metrics = telemetry.NewMetrics(telemetry.MetricsConfig{States: batch.Names(), Stale: time.Hour,
		Buses: func() []telemetry.BusStat { return busStats(bus) },
		Drops: func() []telemetry.Drop { return []telemetry.Drop{{Sink: "journal", What: "samples"}} }})
	h.reg.MustRegister(h.Metrics)
	res, err := rehearsal.Run(context.Background(), rehearsal.Plan{Machine: m, Recipe: r, Seed: 3, Batches: 1, Mismatch: registers.Drawn(3), Warm: true, Sinks: []control.Sink{h},
		Beside:  func(m *rehearsal.Moment) bool { return m.Last.State == "cooling" },
		Through: func(f control.Field) control.Field { bus = f.(*fieldbus.Fieldbus); return f }})
	if err != nil {
		t.Fatal(err)
	}
	if h.err != nil || len(res.Batches) != 1 || len(res.Trips) != 0 {
		t.Fatalf("%v, batches %v, trips %v", h.err, res.Batches, res.Trips)
	}
	return h
}

// shippedQueries are those of dashboard and recording rules, by where they stand.
func shippedQueries(t *testing.T) map[string]string {
	t.Helper()
	read := func(path string, decode func([]byte) error) {
		text, err := os.ReadFile(path)
		if err == nil {
			err = decode(text)
		}
		if err != nil {
			t.Fatalf("%s: %v", path, err)
		}
	}
	var board struct {
		Panels []struct {
			Title, Type string
			Targets     []struct{ RefID, Expr string }
		}
		Annotations struct{ List []struct{ Name, Expr string } }
	}
	read("../../deploy/dashboard/machines.json", func(b []byte) error { return json.Unmarshal(b, &board) })
	found := map[string]string{}
	for _, p := range board.Panels {
		if len(p.Targets) == 0 && p.Type != "row" {
			t.Errorf("panel %q has no query", p.Title)
		}
		for _, q := range p.Targets {
			found["panel "+p.Title+" "+q.RefID] = q.Expr
		}
	}
	for _, a := range board.Annotations.List {
		found["annotation "+a.Name] = a.Expr
	}
	var rules struct {
		Groups []struct {
			Rules []struct{ Record, Expr string }
		}
	}
	read("../../deploy/prometheus/rules.yml", func(b []byte) error { return yaml.Unmarshal(b, &rules) })
	for _, g := range rules.Groups {
		for _, r := range g.Rules {
			if r.Record != "" {
				found["rule "+r.Record] = r.Expr
			}
		}
	}
	return found
}

// overDay is the number of series that a query gives over a recorded day.
func overDay(t *testing.T, address, query string, h *history) int {
	t.Helper()
	v := url.Values{"query": {query}, "start": {fmt.Sprint(h.firstS)}, "end": {fmt.Sprint(h.lastS)}, "step": {"60"}}
	res, err := http.Get("http://" + address + "/api/v1/query_range?" + v.Encode())
	if err != nil {
		t.Fatal(err)
	}
	defer res.Body.Close()
	var answer struct {
		Status, Error string
		Data          struct{ Result []any }
	}
	if err := json.NewDecoder(res.Body).Decode(&answer); err != nil {
		t.Fatal(err)
	}
	if answer.Status != "success" {
		t.Fatalf("query %s: %s", query, answer.Error)
	}
	return len(answer.Data.Result)
}

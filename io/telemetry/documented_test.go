package telemetry

import (
	"fmt"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"github.com/prometheus/client_golang/prometheus"
	dto "github.com/prometheus/client_model/go"

	"drumwright/io/record"
	"drumwright/io/record/recordtest"
)

const documented = "../../deploy/TELEMETRY.md"

// What is exposed stands in the list that people build dashboards on, and the
// list promises nothing that is not exposed.
func TestDocumentedNamesAreExposed(t *testing.T) {
	m, _ := metrics()
	reg := prometheus.NewPedanticRegistry()
	if err := reg.Register(m); err != nil {
		t.Fatal(err)
	}
	// Some are there only before first crack, others only after it.
	exposed := map[string]*dto.MetricFamily{}
	before, after := recordtest.Roasting(), recordtest.Roasting()
	before.Batch.CrackDueS, before.Batch.CrackDueSdS = 500, 20
	after.Batch.FirstCrackS = 300
	for _, s := range []record.Scan{before, after} {
		m.Put(&s)
		families, err := reg.Gather()
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range families {
			exposed[f.GetName()] = f
		}
	}
	described := make(chan *prometheus.Desc)
	go func() { m.Describe(described); close(described) }()
	n := 0
	for range described {
		n++
	}
	if n != len(exposed) {
		t.Errorf("%d metrics are described, %d are on the page of a machine that has everything", n, len(exposed))
	}

	var b strings.Builder
	fmt.Fprintf(&b, "\n| metric | type | labels | meaning |\n|---|---|---|---|\n")
	for _, name := range slices.Sorted(maps.Keys(exposed)) {
		f := exposed[name]
		var labels []string
		for _, l := range f.Metric[0].Label {
			labels = append(labels, l.GetName())
		}
		slices.Sort(labels)
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", f.GetName(), strings.ToLower(f.GetType().String()), strings.Join(labels, ", "), f.GetHelp())
	}
	fmt.Fprintf(&b, "\n| topic | payload | delivery | meaning |\n|---|---|---|---|\n")
	for _, t := range topics {
		fmt.Fprintf(&b, "| `%s` | %s | %s | %s |\n", t.name, t.payload, t.kept, t.about)
	}
	b.WriteByte('\n')
	want := fmt.Sprintf("\nVersion %d\n%s", Version, b.String())

	text, err := os.ReadFile(documented)
	if err != nil {
		t.Fatal(err)
	}
	const begin, end = "<!-- names -->", "<!-- end of names -->"
	head, rest, ok := strings.Cut(string(text), begin)
	listed, tail, ok2 := strings.Cut(rest, end)
	if !ok || !ok2 {
		t.Fatalf("%s has no %s ... %s", documented, begin, end)
	}
	if *update {
		if err := os.WriteFile(documented, []byte(head+begin+want+end+tail), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	if listed != want {
		t.Errorf("%s does not list what is exposed; rewrite it with -update, and raise Version if a name changed or went. It should hold\n%s", documented, want)
	}
}

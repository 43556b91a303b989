package telemetry

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"

	"drumwright/io/peertest"
)

// The shipped rules do what their own tests say, by Prometheus's own tool, and
// none is without a test.
func TestRules(t *testing.T) {
	const folder = "../../deploy/prometheus"
	promtool := peertest.Find(t, "promtool")
	c := exec.Command(promtool, "test", "rules", "rules_test.yml")
	c.Dir = folder
	if out, err := c.CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, out)
	}
	tests, err := os.ReadFile(filepath.Join(folder, "rules_test.yml"))
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(filepath.Join(folder, "rules.yml"))
	if err != nil {
		t.Fatal(err)
	}
	var rules struct {
		Groups []struct {
			Rules []struct{ Alert, Record string }
		}
	}
	if err := yaml.Unmarshal(text, &rules); err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, g := range rules.Groups {
		for _, r := range g.Rules {
			n++
			want := r.Record
			if r.Alert != "" {
				want = `alertname="` + r.Alert + `"`
			}
			if !strings.Contains(string(tests), want) {
				t.Errorf("rules_test.yml expects nothing of %s", want)
			}
		}
	}
	if n == 0 {
		t.Error("no rules")
	}
}

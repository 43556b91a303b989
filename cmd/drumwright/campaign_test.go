package main

import (
	"bytes"
	"context"
	"encoding/json"
	"strings"
	"testing"
)

func campaignRun(args ...string) (code int, stdout, stderr string) {
	var o, e bytes.Buffer
	code = run(context.Background(), append([]string{"campaign"}, args...), strings.NewReader(""), &o, &e)
	return code, o.String(), e.String()
}

func TestCampaignTable(t *testing.T) {
	code, out, errs := campaignRun("--row", "h41")
	if code != codeOK || errs != "" {
		t.Fatalf("exit code %d, standard error %q", code, errs)
	}
	for _, want := range []string{"ROW", "start from the network", "pass", "2 of 2 runs passed; 1 of the 93 hazards were judged here"} {
		if !strings.Contains(out, want) {
			t.Errorf("no %q in\n%s", want, out)
		}
	}
	if strings.Contains(out, "H62") {
		t.Errorf("one row was asked for:\n%s", out)
	}
}

func TestCampaignJSON(t *testing.T) {
	code, out, errs := campaignRun("--row", "H67", "--json")
	if code != codeOK || errs != "" {
		t.Fatalf("exit code %d, standard error %q", code, errs)
	}
	var got map[string]any
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	results, _ := got["results"].([]any)
	if got["covered"] != 1.0 || got["total"] != 93.0 || len(results) != 2 {
		t.Errorf("%v", got)
	}
	for _, r := range results {
		row := r.(map[string]any)
		for _, key := range []string{"row", "moment", "limit_s", "measured_s", "pass", "cause", "safe_state"} {
			if _, ok := row[key]; !ok {
				t.Errorf("no %s in %v", key, row)
			}
		}
	}
}

func TestCampaignRefuses(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{[]string{"--row", "H99"}, "allowed is H01 to H93"},
		{[]string{"--row", "H62"}, "covered by the test io/telemetry.TestMQTTOutages"},
		{[]string{"--pairs", "many"}, "FAULT+FAULT"},
		{[]string{"--pairs", "0"}, "FAULT+FAULT"},
		{[]string{"--pairs", "earthquake+drum_stall"}, `no fault "earthquake"`},
		{[]string{"--nuisance", "-1"}, "allowed is 1 to 100000"},
		{[]string{"--machine", "lark-300", "--recipe", "harbour-medium"}, "green"},
		{[]string{"more"}, "campaign"},
	} {
		code, out, errs := campaignRun(c.args...)
		if code != codeInput || out != "" || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit code %d, output %q, error %q; want code %d and %q", c.args, code, out, errs, codeInput, c.want)
		}
	}
}

// A campaign that does not pass says so by its exit code.
func TestCampaignVerdict(t *testing.T) {
	r := campaignResult{}
	if err := r.verdict(); err != nil {
		t.Error(err)
	}
	for _, text := range []string{
		`{"results":[{"pass":true},{"pass":false}]}`,
		`{"pairs":{"made":2,"failed":[{}]}}`,
		`{"nuisance":{"runs":2,"trips":[{}]}}`,
	} {
		var r campaignResult
		if err := json.Unmarshal([]byte(text), &r); err != nil {
			t.Fatal(err)
		}
		err, ok := r.verdict().(exitError)
		if !ok || err.code != codeFailed || !strings.Contains(err.Error(), "1 of 2") {
			t.Errorf("%s: verdict %v", text, err)
		}
	}
}

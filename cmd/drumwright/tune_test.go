package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/record"
	"drumwright/profiles"
)

// heaterCSV is a step on 0.08 K/W, 16 s and 5 s of lag, 1.2 s of dead time by
// small Euler steps, in the columns of --csv, with a ripple in place of noise.
func heaterCSV() string {
	var b strings.Builder
	b.WriteString("time_s,power_w,temperature_c\n")
	const h = 0.02
	x1, x2 := 0.0, 0.0
	powerW := func(t float64) float64 {
		switch {
		case t >= 10 && t < 110:
			return 2150
		case t >= 110 && t < 210:
			return 1850
		}
		return 2000
	}
	for k := 0; k <= 300/h; k++ {
		t := float64(k) * h
		if k%25 == 0 {
			fmt.Fprintf(&b, "%.2f,%.0f,%.3f\n", t, powerW(t), 200+0.08*x2+0.05*math.Sin(37*t))
		}
		x1 += h * (powerW(t-1.2) - 2000 - x1) / 16
		x2 += h * (x1 - x2) / 5
	}
	return b.String()
}

// From a file with an experiment to a machine file with the gains in it: nothing
// is written without a yes, what stood there stays, and the result is a machine.
func TestTuneFromFileToMachine(t *testing.T) {
	dir := t.TempDir()
	text, _ := profiles.Example("machines/heron-1000.yaml")
	machine, csv := filepath.Join(dir, "machine.yaml"), filepath.Join(dir, "step.csv")
	for path, data := range map[string][]byte{machine: text, csv: []byte(heaterCSV())} {
		if err := os.WriteFile(path, data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	call := func(stdin string, args ...string) (int, string) {
		var out, errs bytes.Buffer
		code := run(context.Background(), append([]string{"tune", machine, "--csv", csv, "--flow", "38"}, args...), strings.NewReader(stdin), &out, &errs)
		return code, out.String() + errs.String()
	}
	code, out := call("no\n")
	if now, _ := os.ReadFile(machine); code != 0 || !bytes.Equal(now, text) || !strings.Contains(out, "Nothing is written.") {
		t.Fatalf("code %d without a yes:\n%s", code, out)
	}
	if !strings.Contains(out, "second order") || !strings.Contains(out, "recommended") {
		t.Errorf("the tables are missing:\n%s", out)
	}
	if code, out = call("yes\n"); code != 0 {
		t.Fatalf("code %d:\n%s", code, out)
	}
	m, err := profiles.LoadMachine(machine)
	if err != nil {
		t.Fatal(err)
	}
	if g := m.Loops.Air.AtFlow; len(g) != 1 || g[0].Flow != 38 || g[0].GainWPerK < 20 || g[0].GainWPerK > 100 {
		t.Errorf("gains %+v", g)
	}
	kept, _ := filepath.Glob(machine + ".before-*")
	if len(kept) != 1 {
		t.Fatalf("files kept: %v", kept)
	}
	if old, _ := os.ReadFile(kept[0]); !bytes.Equal(old, text) {
		t.Error("the file kept is not the file as it was")
	}
	code, out = call("", "--json")
	var v struct {
		Results []struct {
			Fits []struct {
				Model  string
				Taken  bool
				Gain   float64 `json:"gain_k_per_w"`
				Lag    float64 `json:"lag_s"`
				Second float64 `json:"second_lag_s"`
				Delay  float64 `json:"dead_time_s"`
			}
		}
	}
	if err := json.Unmarshal([]byte(out), &v); err != nil || code != 0 {
		t.Fatalf("code %d, %v:\n%s", code, err, out)
	}
	for _, f := range v.Results[0].Fits {
		if f.Model == "second order" && (!f.Taken || math.Abs(f.Gain/0.08-1) > 0.02 || math.Abs(f.Lag-16) > 1 || math.Abs(f.Second-5) > 1 || math.Abs(f.Delay-1.2) > 0.5) {
			t.Errorf("fit %+v, made with 0.08 K/W, 16 s, 5 s, 1.2 s", f)
		}
	}
}

// On the simulated machine the fitted gain is that of the heat balance: the
// efficiency over flow times specific heat (1.02 kJ/(kg K) at 110 °C, standard
// tables), within 5 %.
func TestTuneOnTheSimulatedMachine(t *testing.T) {
	peertest.OnceIsEnough(t)
	m, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	o := &tuneOptions{loop: "air", method: "step", flows: "38", simulate: true, seed: 1}
	jobs, err := o.jobs(m)
	if err != nil {
		t.Fatal(err)
	}
	list, err := tuneSimulated(context.Background(), m, jobs, o, new(bytes.Buffer))
	if err != nil || len(list) != 1 || list[0].Chosen < 0 {
		t.Fatalf("%+v, %v", list, err)
	}
	want := 0.95 / (38.0 / 3600 * 1020)
	if got := list[0].Fits[list[0].Best].Process.Gain; math.Abs(got/want-1) > 0.05 {
		t.Errorf("gain %.4f K/W, the heat balance says %.4f", got, want)
	}
	if len(gainEdits(m, "air", list)) == 0 && !keepsAll(list) {
		t.Error("gains without a change of the file")
	}
}

func TestTuneRefusesWrongOptions(t *testing.T) {
	for _, args := range [][]string{
		{"--loop", "bean"}, {"--method", "ramp"}, {"--flow", "2"}, {"--flow", "a"}, {"--amplitude", "90"}, {"--batch", "1", "--loop", "base"},
		{"--batch", "1", "--csv", "x"}, {"--simulate", "--csv", "x"}, {"--csv", "/there/is/none"}, {}, // no --who
	} {
		var out, errs bytes.Buffer
		if code := run(context.Background(), append([]string{"tune", "heron-1000"}, args...), strings.NewReader(""), &out, &errs); code != codeInput {
			t.Errorf("%v: code %d, want %d: %s%s", args, code, codeInput, out.String(), errs.String())
		}
	}
}

func TestReadTuneCSVRefuses(t *testing.T) {
	for name, text := range map[string]string{
		"empty":        "",
		"heading":      "t,p,c\n1,2,3\n",
		"no lines":     "time_s,power_w,temperature_c\n",
		"word":         "time_s,power_w,temperature_c\n1,2,hot\n",
		"not a number": "time_s,power_w,temperature_c\n1,2,NaN\n",
		"time back":    "time_s,power_w,temperature_c\n2,2,3\n1,2,3\n",
		"columns":      "time_s,power_w,temperature_c\n2,2\n",
	} {
		if _, err := readTuneCSV("x.csv", strings.NewReader(text)); err == nil || !strings.Contains(err.Error(), "x.csv") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func FuzzReadTuneCSV(f *testing.F) {
	f.Add("time_s,power_w,temperature_c\n0,1,2\n1,2,3\n")
	f.Add("time_s,power_w,temperature_c\n\"0\",1e999,2\n")
	f.Fuzz(func(t *testing.T, text string) {
		d, err := readTuneCSV("x", strings.NewReader(text))
		if err == nil && (len(d.Outputs) == 0 || len(d.Outputs) != len(d.Inputs)) {
			t.Fatalf("%q gives %+v", text, d)
		}
	})
}

// The longest stretch of steady air is taken, and its first part left out.
func TestAirStretch(t *testing.T) {
	m, err := machineFrom("heron-1000")
	if err != nil {
		t.Fatal(err)
	}
	var samples []record.KeptSample
	for i := range 600 {
		s := record.KeptSample{ScanS: record.Number(1000 + i), State: "roasting", HeatPermitted: true, AirPermit: 0.5, FlowKgPerH: 40, MainsV: record.Number(m.Heaters.RatedV),
			Temperatures: map[string]record.KeptValue{"inlet_air": {Value: record.Number(200 + i)}}}
		if i < 60 {
			s.State = "charging"
		}
		if i >= 300 && i < 320 {
			s.FlowKgPerH = 30
		}
		samples = append(samples, s)
	}
	d, flow, _, err := airStretch(m, samples)
	if err != nil {
		t.Fatal(err)
	}
	if flow != 40 || d.Inputs[0].AtS != 1320 || d.Outputs[0].AtS != 1410 || d.Outputs[len(d.Outputs)-1].AtS != 1599 || d.Rest != 2000 {
		t.Errorf("flow %g, inputs from %g, outputs from %g to %g, rest %g", flow, d.Inputs[0].AtS, d.Outputs[0].AtS, d.Outputs[len(d.Outputs)-1].AtS, d.Rest)
	}
	if _, _, _, err := airStretch(m, samples[:200]); err == nil {
		t.Error("a short stretch is taken")
	}
	if _, _, _, err := airStretch(m, samples[:30]); err == nil {
		t.Error("a batch without a roast is taken")
	}
}

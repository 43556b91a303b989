package main

import (
	"bytes"
	"context"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control"
	"drumwright/control/bean"
	"drumwright/control/plant"
	"drumwright/io/journal"
	"drumwright/io/peertest"
	"drumwright/profiles"
)

// A batch on a simulated machine that is not as its file says is recorded; the fit finds what is off, within what it states, although the
// model it uses is simpler than the machine: one drum wall for three, no casing.
func TestFitFindsWhatIsOff(t *testing.T) {
	peertest.OnceIsEnough(t)
	dir := t.TempDir()
	text, _ := profiles.Example("machines/heron-1000.yaml")
	file, kept := filepath.Join(dir, "machine.yaml"), filepath.Join(dir, "day.db")
	if err := os.WriteFile(file, text, 0o644); err != nil {
		t.Fatal(err)
	}
	m, err := machineFrom(file)
	if err != nil {
		t.Fatal(err)
	}
	r, err := recipeFrom("harbour-medium")
	if err != nil {
		t.Fatal(err)
	}
	keep, err := journal.Open(kept, journal.Config{MachineText: string(text), Version: "test", QueueLen: 1 << 17})
	if err != nil {
		t.Fatal(err)
	}
	off := plant.Mismatch{HeatTransferFrac: 0.15, ProbeLagFrac: -0.25, SkinHeatCapFrac: 0.25, GasShareAdd: 0.02}
	_, err = rehearsal.Run(context.Background(), rehearsal.Plan{Machine: m, Recipe: r, Seed: 4, Batches: 1, Warm: true, Mismatch: off, Sinks: []control.Sink{keep},
		Beside: func(now *rehearsal.Moment) bool {
			return now.Last.State == "cooling"
		}})
	if err != nil {
		t.Fatal(err)
	}
	if err := keep.Close(); err != nil {
		t.Fatal(err)
	}
	var out, errs bytes.Buffer
	call := func(args ...string) int {
		out.Reset()
		errs.Reset()
		return run(context.Background(), append([]string{"fit", file, "--journal", kept}, args...), strings.NewReader("yes\n"), &out, &errs)
	}
	if code := call("1", "--json"); code != 0 {
		t.Fatalf("code %d: %s", code, errs.String())
	}
	var v struct {
		Figures []struct {
			Key              string
			File, Fitted, Sd float64
			Told             bool
		}
	}
	if err := json.Unmarshal(out.Bytes(), &v); err != nil {
		t.Fatal(err)
	}
	truth := map[string]float64{"bed.gas_to_beans": 1.15 * float64(m.Bed.GasToBeans), "bed.probe_lag": 0.75 * float64(m.Bed.ProbeLagS), "bed.drum_heat": 1.25 * float64(m.Bed.DrumHeat),
		// The simulated machine takes the specific heat of the inlet air for all its way,
		// the model that of the mean: here about 240 °C at the inlet and 130 °C half way.
		"heaters.air.efficiency": float64(m.Heaters.Air.Efficiency) * bean.AirCpJPerKgK(130) / bean.AirCpJPerKgK(240)}
	found := 0
	for _, f := range v.Figures {
		want, known := truth[f.Key]
		if !known {
			continue
		}
		found++
		t.Logf("%s: file %.4g, true %.4g, fitted %.4g ± %.2g", f.Key, f.File, want, f.Fitted, 2*f.Sd)
		if !f.Told && f.Key != "bed.drum_heat" || math.Abs(f.Fitted-want) > 3*f.Sd {
			t.Errorf("%s: fitted %.4g, true %.4g, stated sd %.2g, told %v", f.Key, f.Fitted, want, f.Sd, f.Told)
		}
	}
	if found != len(truth) {
		t.Errorf("figures %+v", v.Figures)
	}
	if code := call(); code != codeFailed || !strings.Contains(errs.String(), "no finished batch") {
		t.Errorf("code %d without a finished batch: %s", code, errs.String())
	}
	if code := call("1"); code != 0 {
		t.Fatalf("code %d: %s%s", code, errs.String(), out.String())
	}
	changed, err := profiles.LoadMachine(file)
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(float64(changed.Bed.ProbeLagS)/truth["bed.probe_lag"]-1) > 0.1 {
		t.Errorf("probe lag in the file %v, true %.1f s", changed.Bed.ProbeLagS, truth["bed.probe_lag"])
	}
}

func TestFitRefusesWrongOptions(t *testing.T) {
	for _, args := range [][]string{{}, {"heron-1000", "x"}, {"heron-1000", "0"}} {
		var out, errs bytes.Buffer
		if code := run(context.Background(), append([]string{"fit"}, args...), strings.NewReader(""), &out, &errs); code != codeInput {
			t.Errorf("%v: code %d, want %d: %s", args, code, codeInput, errs.String())
		}
	}
}

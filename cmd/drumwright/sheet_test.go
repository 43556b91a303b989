package main

import (
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/control"
	"drumwright/control/tune"
	"drumwright/io/record"
)

// A sheet says of each figure how it was found; what was measured shows with its
// person, what was not is called so; what people have written stays text.
func TestSheet(t *testing.T) {
	for _, machine := range []string{"heron-1000", "lark-300"} {
		page, name, err := sheetOf(machine, time.Now())
		if err != nil || name != machine {
			t.Fatalf("%s: %q, %v", machine, name, err)
		}
		for _, want := range []string{"Commissioning is not done", "not measured", "<svg", "Froude number", "Loops: gains and margins", "inlet air, ", "never done", "Cause and effect", "bean high", "Not watched on this machine"} {
			if !strings.Contains(string(page), want) {
				t.Errorf("%s: no %q", machine, want)
			}
		}
		if strings.Contains(string(page), "NaN") || strings.Contains(string(page), "<?xml") {
			t.Errorf("%s: a figure that is none, or a second declaration", machine)
		}
	}
	path := shopFile(t)
	m, err := machineFrom(path)
	if err != nil {
		t.Fatal(err)
	}
	kept := record.Commissioned{Kind: record.KindCalibration, Item: itemFlow, Who: "<b>Ada</b>", When: time.Now(), Method: "vane anemometer", Value: 0.66, Uncertainty: 0.03, Unit: "kg/h/Hz", ValidDays: 365, Result: record.ProofPass, Body: "{}"}
	if err := keepCommissioned(m.Telemetry.Journal, []record.Commissioned{kept}); err != nil {
		t.Fatal(err)
	}
	page, _, err := sheetOf(path, time.Now())
	if err != nil || !strings.Contains(string(page), "&lt;b&gt;Ada&lt;/b&gt;") || strings.Contains(string(page), "<b>Ada") || !strings.Contains(string(page), "0.66 kg/h/Hz ± 0.03") {
		t.Errorf("%v: what was measured is not on the page as it was written", err)
	}
}

// The margins are those of the rule that the gains come from: SIMC with the closed
// loop no faster than the dead time gives Ms 1.59 at most, a gain margin of 3 and a
// phase margin of 46.9 degrees at least (Skogestad 2003, table 1, tau_c = theta,
// from memory); the derivative of the ideal form and its filter take some.
func TestSheetMargins(t *testing.T) {
	for _, machine := range []string{"heron-1000", "lark-300"} {
		m, err := machineFrom(machine)
		if err != nil {
			t.Fatal(err)
		}
		for _, share := range []float64{0.7, 1, 1.3} {
			flow := share * float64(m.Air.Nominal)
			g, _, _ := control.LoopGains(m, "air", flow, 250)
			x := tune.MarginsOf(control.LoopProcess(m, "air", flow, 250), g, float64(m.Scan.PeriodS))
			if !(x.Ms > 1 && x.Ms < 1.59*1.05 && x.Gain > 2.8 && x.PhaseDeg > 45) || math.IsNaN(x.DelayS) {
				t.Errorf("%s at %.0f kg/h: %+v", machine, flow, x)
			}
		}
		g, _, _ := control.LoopGains(m, "base", float64(m.Air.Nominal), 200)
		if x := tune.MarginsOf(control.LoopProcess(m, "base", float64(m.Air.Nominal), 200), g, float64(m.Scan.PeriodS)); !(x.Ms > 1 && x.Ms < tune.HighestMs) {
			t.Errorf("%s base: %+v", machine, x)
		}
	}
}

// A wrong command line ends with 2 and writes nothing.
func TestSheetRefuses(t *testing.T) {
	out := filepath.Join(t.TempDir(), "s.html")
	for _, args := range [][]string{{"sheet"}, {"sheet", "no-such-machine", "-o", out}} {
		if code, _, errs := drumwright(t, args...); code != codeInput || errs == "" {
			t.Errorf("%v: code %d, %q", args, code, errs)
		}
	}
}

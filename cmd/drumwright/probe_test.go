package main

import (
	"encoding/json"
	"path/filepath"
	"strings"
	"testing"

	"drumwright/control/drum"
)

func TestProbeCommand(t *testing.T) {
	svg := filepath.Join(t.TempDir(), "probe.svg")
	code, out, errs := drumwright(t, "probe", "heron-1000", "--json", "--svg", svg, "--with", "sheath=2.5")
	if code != codeOK {
		t.Fatalf("code %d: %s", code, errs)
	}
	var got struct{ Placement drum.Placement }
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	p := &got.Placement
	// The rules of placing: a bean over the tip in the thinned bed, a bean and more
	// from the wall, on the wall's side of the eye.
	if !p.Possible || p.Best.WallMM < drum.WallClearMM || p.CoverThinMM.Value < drum.CoverMM || p.FromEyeMM.Value < 0 || p.Given.DiameterMM != 2.5 {
		t.Errorf("%+v", p)
	}
	code, out, errs = drumwright(t, "probe", "heron-1000", "--with", "batch=200")
	if code != codeOK || !strings.Contains(out, "NOT safely covered") || !strings.Contains(out, "When the face is back on") {
		t.Errorf("code %d: %s%s", code, out, errs)
	}
	if code, _, errs := drumwright(t, "probe", "heron-1000", "--with", "sheath=20"); code != codeInput || !strings.Contains(errs, "sheath diameter") {
		t.Errorf("code %d: %s", code, errs)
	}
}

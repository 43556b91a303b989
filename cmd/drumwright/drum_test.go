package main

import (
	"bytes"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

func TestDrumCommand(t *testing.T) {
	svg := filepath.Join(t.TempDir(), "drum.svg")
	code, out, errs := drumwright(t, "drum", "heron-1000", "--json", "--svg", svg, "--speed", "65 Hz", "--speed", "0.2 Fr", "--with", "green-bulk=690+-10")
	if code != codeOK {
		t.Fatalf("code %d: %s", code, errs)
	}
	var got struct {
		Inputs map[string]struct{ Value, Uncertainty float64 }
		Stages []struct {
			Name    string
			Figures map[string]struct {
				Value, Uncertainty float64
				Unit, Method       string
			}
		}
		Speeds []struct {
			Skin float64 `json:"skin_mm_per_s"`
			Hz   float64
			RPM  float64
		}
	}
	if err := json.Unmarshal([]byte(out), &got); err != nil {
		t.Fatal(err)
	}
	// 65 Hz x 6.5876, and sqrt(0.2 x 9.81 x 0.108) m/s, worked by hand.
	if len(got.Speeds) != 2 || math.Abs(got.Speeds[0].Skin-428.194) > 0.001 || math.Abs(got.Speeds[1].Skin-460.32) > 0.01 {
		t.Errorf("%+v", got.Speeds)
	}
	if g := got.Inputs["green-bulk"]; g.Value != 690 || g.Uncertainty != 10 {
		t.Errorf("%+v", g)
	}
	if len(got.Stages) != 4 || got.Stages[0].Figures["skin_mm_per_s"].Value != 425 {
		t.Errorf("%+v", got.Stages)
	}
	for _, s := range got.Stages {
		for k, f := range s.Figures {
			if f.Method == "" {
				t.Errorf("%s of %s: no method", k, s.Name)
			}
		}
	}
	page, err := os.ReadFile(svg)
	if err != nil || !bytes.HasPrefix(page, []byte("<svg")) {
		t.Errorf("%v: %.40s", err, page)
	}
}

// A drum without a file has a guess for its speeds, and says so.
func TestDrumWithoutMachine(t *testing.T) {
	code, out, errs := drumwright(t, "drum", "--with", "radius=140", "--with", "length=300", "--with", "constant=8", "--with", "batch=900", "--json")
	if code != codeOK || !strings.Contains(out, "GUESS") || strings.Contains(out, "last_off_deg") {
		t.Errorf("code %d: %s%s", code, out, errs)
	}
}

func TestDrumRefusals(t *testing.T) {
	for _, c := range []struct {
		args []string
		want string
	}{
		{nil, "--with radius="},
		{[]string{"heron-1000", "--with", "radius"}, "NAME=VALUE"},
		{[]string{"heron-1000", "--with", "moon=1"}, "names are radius"},
		{[]string{"heron-1000", "--with", "radius=long"}, "number in mm"},
		{[]string{"heron-1000", "--with", "paddles=3±1"}, "takes no uncertainty"},
		{[]string{"heron-1000", "--with", "radius=5"}, "allowed is 20 to 600"},
		{[]string{"heron-1000", "--with", "batch=9000"}, "below the drum"},
		{[]string{"heron-1000", "--speed", "12"}, "mm/s, Hz, rpm or Fr"},
		{[]string{"heron-1000", "--stage", "green=0", "--stage", "cinder=99"}, "0 to 30"},
		{[]string{"heron-1000", "--stage", "late=9", "--stage", "early=3"}, "must rise"},
	} {
		if code, _, errs := drumwright(t, append([]string{"drum"}, c.args...)...); code != codeInput || !strings.Contains(errs, c.want) {
			t.Errorf("%v: code %d, %q", c.args, code, errs)
		}
	}
}

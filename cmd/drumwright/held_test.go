package main

import (
	"encoding/json"
	"os"
	"strings"
	"testing"

	"drumwright/cmd/drumwright/internal/wiring"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// foundAsTold is a finding that is just what the machine file holds.
func foundAsTold(t *testing.T, m *profiles.Machine, kind, item string) record.Commissioned {
	t.Helper()
	c := record.Commissioned{Kind: kind, Item: item, Who: "Ada", Value: record.Unknown, Uncertainty: 0.5, Result: record.ProofPass, Wiring: wiring.Hash(m)}
	var f finding
	switch item {
	case itemDrum:
		c.Value, c.Uncertainty = record.Number(m.SkinMMPerSPerHz()), 0.01
	case itemAir:
		c.Value, c.Uncertainty = record.Number(m.Heaters.Air.PowerW), 20
	case itemRadiant:
		c.Value, c.Uncertainty = record.Number(m.Heaters.Radiant.PowerW), 20
	case itemFlow:
		for _, p := range m.Air.Flow {
			f.Flow = append(f.Flow, flowPoint{float64(p.Hz), float64(p.Flow), 1})
		}
	default:
		if i, ok := point.InputNamed(item); ok {
			l := lineOf(m, i)
			l.U20K, l.U200K = 0.3, 0.6
			f.Probe = &l
		}
	}
	body, err := json.Marshal(f)
	if err != nil {
		t.Fatal(err)
	}
	c.Body = string(body)
	return c
}

// A finding that the machine file does not hold is none: refused, it keeps beans out;
// once it is in the file, by the same command without a measurement, it counts.
func TestAFindingCountsOnceTheFileHoldsIt(t *testing.T) {
	for _, c := range []struct {
		item string
		args []string
		want string // in check
	}{
		{"drum", []string{"--at", "30=190±1", "--at", "60=380±2"}, "found 6.333 mm/s/Hz, the file has"},
		{"bean", []string{"--ice", "1.5"}, "the file reads it +1.50 K wrong at 20 °C and +1.50 K at 200 °C"},
		{"flow", []string{"--at", "20=18±1", "--at", "60=52±1"}, "found 52 kg/h at 60 Hz, the file has"},
		{"air_heater", []string{"--amps", "9±0.1", "--volts", "230±1"}, "found 2070 W, the file has"},
		{"radiant", []string{"--amps", "9±0.1", "--volts", "230±1"}, "found 2070 W, the file has"},
	} {
		path := shopFile(t)
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		state := func() string {
			t.Helper()
			code, text := runText("check", path)
			if code != codeOK {
				t.Fatal(text)
			}
			return strings.Join(strings.Fields(text), " ")
		}
		// Nobody says yes: standard input is empty.
		if code, text := runText(append([]string{"calibrate", path, c.item, "--who", "Ada"}, c.args...)...); code != codeOK || !strings.Contains(text, "Nothing is written.") {
			t.Fatalf("%s: exit %d: %s", c.item, code, text)
		}
		if after, err := os.ReadFile(path); err != nil || string(after) != string(before) {
			t.Errorf("%s: the file is changed, %v", c.item, err)
		}
		if got := state(); !strings.Contains(got, "not in the file: "+c.item) || !strings.Contains(got, c.want) {
			t.Errorf("%s refused: %s", c.item, got[strings.Index(got, "Commissioning"):])
		}
		if code, text := runText("calibrate", path, c.item, "--accept"); code != codeOK || !strings.Contains(text, "Written.") {
			t.Fatalf("%s: exit %d: %s", c.item, code, text)
		}
		if got := state(); !strings.Contains(got, "measured: "+c.item) {
			t.Errorf("%s accepted: %s", c.item, got[strings.Index(got, "Commissioning"):])
		}
		if code, text := runText("calibrate", path, c.item); code != codeOK || !strings.Contains(text, "needs no change") {
			t.Errorf("%s again: exit %d: %s", c.item, code, text)
		}
	}
}

// A schedule may be moved by what a trial can be off, and no further.
func TestAScheduleIsHeldWithinWhatATrialIsGoodTo(t *testing.T) {
	m := mustMachine(t, shopFile(t))
	for _, c := range []struct {
		by   float64
		held bool
	}{{1, true}, {1.04, true}, {1.06, false}, {0.9, false}} {
		var f struct {
			Schedule []trialSchedule `json:"schedule"`
		}
		for _, p := range m.Drum.Schedule {
			f.Schedule = append(f.Schedule, trialSchedule{Loss: percentText(float64(p.Loss)), Speed: speedText(c.by * float64(p.Speed))})
		}
		body, err := json.Marshal(f)
		if err != nil {
			t.Fatal(err)
		}
		differs, edits := notHeld(m, &record.Commissioned{Kind: record.KindTrial, Body: string(body)})
		if c.held != (differs == "") || c.held != (len(edits) == 0) {
			t.Errorf("× %g: %q, %v", c.by, differs, edits)
		}
	}
}

package main

import (
	"bytes"
	"context"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/cmd/drumwright/internal/wiring"
	"drumwright/control/calibrate"
	"drumwright/io/journal"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// shopFile is a copy of a shipped machine in a folder of its own.
func shopFile(t *testing.T) string {
	t.Helper()
	text, _ := profiles.Example("machines/heron-1000.yaml")
	path := filepath.Join(t.TempDir(), "machine.yaml")
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func runText(args ...string) (int, string) {
	var out bytes.Buffer
	code := run(context.Background(), args, strings.NewReader(""), &out, &out)
	return code, out.String()
}

// A probe that reads 1.5 K and 1 % too high is put right by ice and boiling water
// within the uncertainty that is stated, in the machine file itself; the record
// says who, how and until when.
func TestCalibrationPutsAProbeRight(t *testing.T) {
	path := shopFile(t)
	wrong := func(c float64) float64 { return 1.01*c + 1.5 }
	boils, err := calibrate.BoilingC(985)
	if err != nil {
		t.Fatal(err)
	}
	code, text := runText("calibrate", path, "bean", "--who", "Ada", "--ice", figure6(wrong(0)), "--boil", figure6(wrong(boils)), "--pressure", "985", "--accept")
	if code != codeOK {
		t.Fatal(text)
	}
	m, err := machineFrom(path)
	if err != nil {
		t.Fatal(err)
	}
	a := &m.In[point.Bean]
	r, err := journal.OpenReader(m.Telemetry.Journal)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	list, err := r.Commissioned(context.Background())
	if err != nil || len(list) != 1 {
		t.Fatalf("%d records, %v", len(list), err)
	}
	c := list[0]
	if c.Kind != record.KindCalibration || c.Item != "bean" || c.Who != "Ada" || c.ValidDays != 180 || !strings.Contains(c.Method, "boiling water") {
		t.Errorf("kept %+v", c)
	}
	for _, want := range []float64{0, 100, 200} {
		raw := wrong(want) / 0.1 // what the module sends, in 0.1 °C
		if got := raw*a.Scale + a.Offset; math.Abs(got-want) > float64(c.Uncertainty) || math.Abs(got-want) > 0.05 {
			t.Errorf("at %g °C it now reads %.3f, stated uncertainty at 200 °C %.2f", want, got, float64(c.Uncertainty))
		}
	}
}

// Where the module gives ohms or millivolts, scale and offset are those of the
// module: what calibration finds goes into the correction, upon the one that is
// there already.
func TestCalibrationOfASensorCorrectsDegrees(t *testing.T) {
	text, _ := profiles.Example("machines/lark-300.yaml")
	path := filepath.Join(t.TempDir(), "machine.yaml")
	if err := os.WriteFile(path, text, 0o600); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		item          string
		i             point.Input
		gain, offsetK float64 // of the file after it
	}{
		{"ambient", point.Ambient, 1.02, 1.02*-0.8 + 1}, // true = 1.02 × reading + 1
		{"heater_element", point.HeaterElement, 1.02, 1},
	} {
		before, err := machineFrom(path)
		if err != nil {
			t.Fatal(err)
		}
		if code, text := runText("calibrate", path, c.item, "--who", "Ada", "--at", "0=1±0.1", "--at", "50=52±0.1", "--accept"); code != codeOK {
			t.Fatal(text)
		}
		after, err := machineFrom(path)
		if err != nil {
			t.Fatal(err)
		}
		a, b := &after.In[c.i], &before.In[c.i]
		if a.Scale != b.Scale || a.Offset != b.Offset || math.Abs(a.Gain-c.gain) > 1e-5 || math.Abs(a.ShiftK-c.offsetK) > 1e-3 {
			t.Errorf("%s: %+v after it, %+v before", c.item, a, b)
		}
		if wiring.Hash(before) != wiring.Hash(after) {
			t.Errorf("%s: the wiring is another", c.item)
		}
	}
}

// Three ways to a heater's power, worked out by hand from the definitions of watt and
// heat capacity (air: 1012.5 J/(kg K) at 118 °C; value from memory, good to 0.5 %).
func TestHeaterPowers(t *testing.T) {
	for _, c := range []struct {
		item   string
		args   []string
		wantW  float64
		within float64
	}{
		{"air_heater", []string{"--amps", "17±0.2", "--volts", "225±1"}, 17.0 / 225 * 230 * 230, 0.1},
		{"radiant", []string{"--meter", "8.0±0.1/30", "--volts", "230±1"}, 960, 0.1},
		{"air_heater", []string{"--air", "39.6±1.5", "--rise", "196±3", "--duty", "60", "--volts", "230±1"}, 39.6 / 3600 * 1012.5 * 196 / 0.6 / 0.95, 20},
	} {
		path := shopFile(t)
		if code, text := runText(append([]string{"calibrate", path, c.item, "--who", "Ada"}, c.args...)...); code != codeOK {
			t.Fatal(text)
		}
		kept, _ := fromJournal(mustMachine(t, path), (*journal.Reader).Commissioned)
		if len(kept) != 1 || kept[0].Unit != "W" || math.Abs(float64(kept[0].Value)-c.wantW) > c.within || !(kept[0].Uncertainty > 0) {
			t.Errorf("%v: kept %+v, want %.1f W", c.args, kept, c.wantW)
		}
	}
}

func mustMachine(t *testing.T, path string) *profiles.Machine {
	t.Helper()
	m, err := machineFrom(path)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Only what was made and has run out can wait, for a month at most, with a reason;
// the record names who answers for it.
func TestPuttingOff(t *testing.T) {
	path := shopFile(t)
	refuse := func(want string, args ...string) {
		t.Helper()
		if code, text := runText(append([]string{"calibrate", path, "bean", "--who", "Ada"}, args...)...); code != codeInput || !strings.Contains(text, want) {
			t.Errorf("%v: exit %d, %s", args, code, text)
		}
	}
	refuse("was made and is due", "--put-off", "7", "--why", "kettle on order")
	db := mustMachine(t, path).Telemetry.Journal
	made := foundAsTold(t, mustMachine(t, path), record.KindCalibration, "bean")
	made.When, made.ValidDays = time.Now().AddDate(0, 0, -100), 60
	if err := keepCommissioned(db, []record.Commissioned{made}); err != nil {
		t.Fatal(err)
	}
	if code, text := runText("check", path); code != codeOK || !strings.Contains(text, "overdue: bean") {
		t.Errorf("exit %d: %s", code, text)
	}
	refuse("with a reason", "--put-off", "7")
	refuse("1 to 30 days", "--put-off", "31", "--why", "x")
	if code, text := runText("calibrate", path, "bean", "--who", "Ada", "--put-off", "7", "--why", "kettle on order"); code != codeOK || !strings.Contains(text, "Ada answers for it") {
		t.Fatalf("exit %d: %s", code, text)
	}
	if code, text := runText("check", path); code != codeOK || !strings.Contains(strings.Join(strings.Fields(text), " "), "by Ada: kettle on order") || strings.Contains(text, "overdue: bean") {
		t.Errorf("exit %d: %s", code, text)
	}
}

func TestCalibrateRefuses(t *testing.T) {
	path := shopFile(t)
	for _, c := range []struct {
		want string
		args []string
	}{
		{"--who is missing", []string{"bean", "--ice", "0.8"}},
		{"--pressure or --altitude", []string{"bean", "--who", "Ada", "--boil", "99"}},
		{"allowed is 500 to 1100 hPa", []string{"bean", "--who", "Ada", "--boil", "99", "--pressure", "98500"}},
		{"neither a probe of this machine", []string{"spoon", "--who", "Ada", "--ice", "0"}},
		{"at least one is needed", []string{"bean", "--who", "Ada"}},
		{"more than 2 % apart", []string{"drum", "--who", "Ada", "--at", "30=198±2", "--at", "60=380±2"}},
		{"READING=REFERENCE±U", []string{"flow", "--who", "Ada", "--at", "10=6", "--at", "60=50"}},
		{"does not rise", []string{"flow", "--who", "Ada", "--at", "10=6±1", "--at", "60=5±1"}},
		{"VALUE±U", []string{"radiant", "--who", "Ada", "--amps", "17", "--volts", "230±1"}},
		{"give one of", []string{"radiant", "--who", "Ada", "--volts", "230±1"}},
		{"only the air heater", []string{"radiant", "--who", "Ada", "--volts", "230±1", "--air", "40±1"}},
		{"WH±U/SECONDS", []string{"radiant", "--who", "Ada", "--volts", "230±1", "--meter", "33/30"}},
		{"--duty", []string{"air_heater", "--who", "Ada", "--volts", "230±1", "--air", "40±1", "--rise", "190±2"}},
	} {
		if code, text := runText(append([]string{"calibrate", path}, c.args...)...); code != codeInput || !strings.Contains(text, c.want) {
			t.Errorf("%v: exit %d, %q; want 2 and %q", c.args, code, text, c.want)
		}
	}
	if _, err := os.Stat(filepath.Join(filepath.Dir(path), "drumwright.db")); err == nil {
		t.Error("a refused calibration has left a journal")
	}
}

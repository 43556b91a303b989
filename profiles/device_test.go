package profiles_test

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/profiles"
)

const meter = `what: Flow meter
layout: invented
tried: nothing
parameters:
  base: {what: first register, default: 10}
inputs:
  flow: {table: holding, address: $base, type: uint16, scale: 0.01, min: 0, max: 90}
  warmth: {table: holding, address: $base+1, scale: 0.1, min: 5, max: 600}
identity:
  - {table: holding, address: $base+8, is: 4711, what: type number}
`

// withMeter is a folder with a machine file that uses the meter, and the meter's map.
func withMeter(t *testing.T, pointKeys, kind string) string {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(testFiles, "small-machine.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	machine := strings.Replace(string(text), "inputs:\n", "devices:\n  meter: {map: meter.yaml, bus: line, unit: 9, with: {base: 40}}\ninputs:\n  air_flow: {device: meter, point: flow"+pointKeys+"}\n  ambient: {device: meter, point: warmth}\n", 1)
	dir := t.TempDir()
	file := filepath.Join(dir, "machine.yaml")
	if err := errors.Join(os.WriteFile(file, []byte(machine), 0o600), os.WriteFile(filepath.Join(dir, "meter.yaml"), []byte(kind), 0o600)); err != nil {
		t.Fatal(err)
	}
	return file
}

func TestMapOfOnesOwn(t *testing.T) {
	m, err := profiles.LoadMachine(withMeter(t, ", max: 55, every: 2", meter))
	if err != nil {
		t.Fatal(err)
	}
	a := m.In[point.AirFlow]
	if !m.HasIn[point.AirFlow] || a.Unit != 9 || a.Table != point.Holding || a.Address != 40 || a.Type != point.Uint16 || a.Scale != 0.01 || a.EveryScans != 2 {
		t.Errorf("air flow at %+v", a)
	}
	// The point's own range counts; else the map narrows the role's -10 to 450 °C, and widens nothing.
	if w := m.In[point.Ambient]; a.Min != 0 || a.Max != 55 || w.Min != 5 || w.Max != 450 {
		t.Errorf("flow %v to %v, ambient %v to %v", a.Min, a.Max, w.Min, w.Max)
	}
	if len(m.Constants) != 1 || m.Constants[0].Is != 4711 || m.Constants[0].Access.Address != 48 || m.Constants[0].Access.Unit != 9 {
		t.Errorf("constants %+v", m.Constants)
	}
	if x := m.Included[0]; len(m.Included) != 2 || x.Role != "air_flow" || x.Point != "flow" || x.Line != 7 || filepath.Base(x.File) != "meter.yaml" || strings.Join(x.Own, " ") != "max every" {
		t.Errorf("from where: %+v", m.Included)
	}
	var names []string
	for _, r := range m.Readings("meter") {
		names = append(names, r.Point+"="+r.Role)
	}
	if got := strings.Join(names, " "); got != "type number= flow=air_flow warmth=ambient" {
		t.Errorf("readings %s", got)
	}
}

// What the journal keeps is enough to have the same machine again, elsewhere and
// when the maps have changed; the hash says that they have.
func TestTextHoldsTheMaps(t *testing.T) {
	file := withMeter(t, "", meter)
	m, err := profiles.LoadMachine(file)
	if err != nil {
		t.Fatal(err)
	}
	again, err := profiles.ParseMachine(file, []byte(m.Text))
	if err != nil {
		t.Fatal(err)
	}
	if again.Hash != m.Hash || again.Text != m.Text || !reflect.DeepEqual(again.In, m.In) || !reflect.DeepEqual(again.Constants, m.Constants) {
		t.Errorf("not the same machine from\n%s", m.Text)
	}
	if sum := sha256.Sum256([]byte(m.Text)); m.Hash != hex.EncodeToString(sum[:]) {
		t.Error("the hash is not that of the text") // the journal names texts by it
	}
	if err := os.WriteFile(filepath.Join(filepath.Dir(file), "meter.yaml"), []byte(meter+"# a word more\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if other, err := profiles.LoadMachine(file); err != nil || other.Hash == m.Hash {
		t.Errorf("another map and the same hash, %v", err)
	}
	plain, err := profiles.LoadMachine(filepath.Join(testFiles, "small-machine.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	if text, err := os.ReadFile(filepath.Join(testFiles, "small-machine.yaml")); err != nil || plain.Text != string(text) {
		t.Errorf("a file without devices is not its own text: %v", err)
	}
}

// A changed text of the same file has the maps that the machine had.
func TestChangedKeepsTheMaps(t *testing.T) {
	file := withMeter(t, "", meter)
	m, err := profiles.LoadMachine(file)
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	changed, err := m.Changed([]byte(strings.Replace(string(text), "point: flow", "point: flow, scale: 0.0102", 1)))
	if err != nil || changed.In[point.AirFlow].Scale != 0.0102 || changed.In[point.AirFlow].Address != 40 {
		t.Fatalf("%v", err)
	}
	if _, err := m.Changed([]byte(strings.Replace(string(text), "meter.yaml", "other.yaml", 1))); err == nil || !strings.Contains(err.Error(), "other.yaml") {
		t.Errorf("a map that was never read: %v", err)
	}
}

// What is wrong in a map is named with the map's file and line.
func TestFaultsOfAMap(t *testing.T) {
	for _, c := range []struct{ name, old, new, want string }{
		{"unknown word", "table: holding, address: $base,", "table: holdng, address: $base,", "meter.yaml:7: inputs.flow.table: found holdng; allowed: coil"},
		{"unknown key", "what: Flow meter\n", "what: Flow meter\nwhy: so\n", "meter.yaml:2: why: found an unknown key"},
		{"no word on the layout", "layout: invented\n", "", "meter.yaml: layout: found no such key"},
		{"unknown parameter", "address: $base+1", "address: $bas+1", "meter.yaml:8: inputs.warmth: found $bas+1"},
		{"place in the map", "{table: holding, address: $base+1", "{bus: line, table: holding, address: $base+1", "meter.yaml:8: inputs.warmth.bus: found the key bus in a map"},
		{"twice", "  warmth:", "  flow:", "meter.yaml:8: inputs.flow: found the point a second time"},
		{"end of the document", "inputs:\n", "...\n", "meter.yaml:6: found the mark ...; allowed: a map without marks"},
		{"no keys", meter, "[1, 2]\n", "meter.yaml:1: found a list"},
		{"no YAML", "inputs:\n", "inputs\n", "meter.yaml:6: found text that is not YAML"},
		{"empty", meter, "", "meter.yaml: found an empty file"},
		{"a point that is a list", "  warmth: {table: holding, address: $base+1, scale: 0.1, min: 5, max: 600}", "  warmth: [1]", "meter.yaml:8: inputs.warmth: found a list"},
		// Found only where the point plays its role in the machine:
		{"unsuitable for the role", "type: uint16, scale: 0.01", "bit: 3", "meter.yaml:7: inputs.air_flow.table: found one bit for a number"},
		{"constant that cannot be", "is: 4711", "is: 70000", "meter.yaml:10: identity[1].is: found 70000"},
	} {
		file := withMeter(t, "", strings.Replace(meter, c.old, c.new, 1))
		_, err := profiles.LoadMachine(file)
		if err == nil || !strings.Contains(err.Error(), filepath.Dir(file)+"/"+c.want) {
			t.Errorf("%s: %v\nwant %s", c.name, err, c.want)
		}
	}
	file := withMeter(t, "", meter)
	if err := os.Remove(filepath.Join(filepath.Dir(file), "meter.yaml")); err != nil {
		t.Fatal(err)
	}
	if _, err := profiles.LoadMachine(file); err == nil || !strings.Contains(err.Error(), "meter.yaml: found no readable file") {
		t.Errorf("no map: %v", err)
	}
	// The line of a role of the machine file is still that of the machine file.
	if _, err := profiles.LoadMachine(withMeter(t, ", min: 99", meter)); err == nil || !strings.Contains(err.Error(), "machine.yaml:9: inputs.air_flow.min: found 99") {
		t.Errorf("a fault beside the map: %v", err)
	}
}

// Every shipped map can be used: a machine has its own points of some roles laid out
// by it instead.
func TestShippedMaps(t *testing.T) {
	uses := map[string]struct{ with, inputs, outputs string }{
		"thermocouple-8":   {"{base: 200}", "bean: channel_1, inlet_air: channel_2, drum_skin: channel_3, exhaust: channel_8", ""},
		"digital-8in-8out": {"{in_base: 300, out_base: 300}", "emergency_stop_healthy: input_1, fire_button: input_8", "heat_enable: output_1"},
		"analogue-out-4":   {"{base: 400}", "", "air_heater_power: output_1, radiant_power: output_4"},
		"drive-cia402":     {"{control: 500, status: 501, target: 502}", "drum_status: status", "drum_run: run, drum_speed: speed"},
	}
	for _, name := range profiles.MapNames() {
		use, ok := uses[name]
		if !ok {
			t.Errorf("%s is shipped: use it above", name)
			continue
		}
		text, err := os.ReadFile(filepath.Join(testFiles, "small-machine.yaml"))
		if err != nil {
			t.Fatal(err)
		}
		machine, roles := string(text), 0
		for section, points := range map[string]string{"inputs": use.inputs, "outputs": use.outputs} {
			for _, pair := range strings.Split(points, ", ") {
				role, p, ok := strings.Cut(pair, ": ")
				if !ok {
					continue
				}
				roles++
				var kept []string
				for _, line := range strings.Split(machine, "\n") {
					if !strings.HasPrefix(line, "  "+role+":") {
						kept = append(kept, line)
					}
				}
				machine = strings.Replace(strings.Join(kept, "\n"), section+":\n", section+":\n  "+role+": {device: it, point: "+p+"}\n", 1)
			}
		}
		m, err := profiles.ParseMachine("m.yaml", []byte("devices: {it: {map: "+name+", bus: line, unit: 9, with: "+use.with+"}}\n"+machine))
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		there := 0
		for i := range m.In {
			if m.HasIn[i] && m.In[i].Unit == 9 {
				there++
			}
		}
		for o := range m.Out {
			if m.HasOut[o] && m.Out[o].Unit == 9 {
				there++
			}
		}
		if there != roles || len(m.Included) != roles || len(m.Readings("it")) == 0 {
			t.Errorf("%s: %d points of %d, %d readings", name, there, roles, len(m.Readings("it")))
		}
		if d, err := profiles.LoadMap(name); err != nil || len(d.Points) == 0 || !strings.Contains(d.Tried, "simulation") {
			t.Errorf("%s alone: %v", name, err)
		}
	}
}

// What the guide has one write is taken: its map, and the machine file that uses it.
func TestGuideToDevices(t *testing.T) {
	guide, err := os.ReadFile("../deploy/DEVICES.md")
	if err != nil {
		t.Fatal(err)
	}
	blocks := map[string]string{} // by first word
	for _, b := range regexp.MustCompile(`(?m)(^    .*\n)+`).FindAllString(string(guide), -1) {
		b = strings.TrimPrefix(strings.ReplaceAll(b, "\n    ", "\n"), "    ")
		blocks[strings.Fields(b)[0]] = b
	}
	file := withMeter(t, "", blocks["what:"]+blocks["parameters:"])
	text, err := os.ReadFile(filepath.Join(testFiles, "small-machine.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	devices, points, _ := strings.Cut(strings.ReplaceAll(blocks["devices:"], "my-module.yaml", "meter.yaml"), "inputs:\n")
	var kept []string
	for _, line := range strings.Split(string(text), "\n") {
		if !strings.HasPrefix(line, "  bean:") && !strings.HasPrefix(line, "  inlet_air:") {
			kept = append(kept, line)
		}
	}
	if err := os.WriteFile(file, []byte(devices+strings.Replace(strings.Join(kept, "\n"), "inputs:\n", "inputs:\n"+points, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	m, err := profiles.LoadMachine(file)
	if err != nil || len(m.Included) != 2 || m.In[point.InletAir].Max != 400 || len(m.Constants) != 1 {
		t.Errorf("%v: %+v", err, m)
	}
}

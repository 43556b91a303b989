package devicemap

import (
	"strings"
	"testing"

	"drumwright/io/point"
	"drumwright/profiles"
)

// Every shipped map can be used, and its lines are such as a machine file takes: a
// shipped machine is given them in place of its own points of the same role.
func TestShippedMapsFitIntoAMachineFile(t *testing.T) {
	text, _ := profiles.Example("machines/heron-1000.yaml")
	for _, c := range []struct {
		name  string
		set   map[string]int
		roles map[string]string
	}{
		{"thermocouple-8", map[string]int{"base": 200}, map[string]string{"bean": "channel_1", "inlet_air": "channel_2", "drum_skin": "channel_3", "exhaust": "channel_8"}},
		{"digital-8in-8out", map[string]int{"in_base": 300, "out_base": 300}, map[string]string{"emergency_stop_healthy": "input_1", "fire_button": "input_8", "heat_enable": "output_1"}},
		{"analogue-out-4", map[string]int{"base": 400}, map[string]string{"air_heater_power": "output_1", "radiant_power": "output_4"}},
		{"drive-cia402", map[string]int{"control": 500, "status": 501, "target": 502}, map[string]string{"drum_status": "status", "drum_run": "run", "drum_speed": "speed"}},
	} {
		m, err := Load(c.name)
		if err != nil {
			t.Fatal(err)
		}
		in, _, out, err := m.Lines(&Use{Bus: "gateway", Unit: 9, Set: c.set, Roles: c.roles})
		if err != nil || len(in)+len(out) != len(c.roles) {
			t.Fatalf("%s: %v, %d and %d lines for %d roles", c.name, err, len(in), len(out), len(c.roles))
		}
		machine, err := profiles.ParseMachine(c.name, []byte(instead(t, string(text), append(in, out...))))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		for i := range machine.In {
			if p, mapped := c.roles[point.Input(i).String()]; mapped && machine.In[i].Unit != 9 {
				t.Errorf("%s: %s does not come from %s", c.name, point.Input(i).String(), p)
			}
		}
	}
	if len(Names()) != 4 {
		t.Errorf("shipped are %v: try each above", Names())
	}
}

// instead puts lines in the place of those, and of the sections, of the same role.
func instead(t *testing.T, text string, lines []string) string {
	t.Helper()
	for _, l := range lines {
		role, _, _ := strings.Cut(l, ":")
		rows := strings.Split(text, "\n")
		for i := 0; ; i++ {
			if i == len(rows) {
				t.Fatalf("the machine has no %s", role)
			}
			if !strings.HasPrefix(rows[i], role+":") {
				continue
			}
			rows[i] = l
			for i+1 < len(rows) && strings.HasPrefix(rows[i+1], "    ") {
				rows = append(rows[:i+1], rows[i+2:]...)
			}
			break
		}
		text = strings.Join(rows, "\n")
	}
	return text
}

func TestParameters(t *testing.T) {
	m, err := Parse("x", []byte(`
what: a
layout: b
tried: c
parameters: {base: {what: first}, step: {what: per channel, default: 4}}
inputs: {a: {table: holding, address: $base+2, scale: 0.5}, b: {table: holding, address: $step*3}}
identity: [{table: holding, address: $base, is: 7}]
`))
	if err != nil {
		t.Fatal(err)
	}
	in, id, _, err := m.Lines(&Use{Bus: "line", Unit: 3, Set: map[string]int{"base": 100}, Roles: map[string]string{"bean": "a", "exhaust": "b"}})
	want := []string{"  bean: {bus: line, unit: 3, table: holding, address: 102, scale: 0.5}", "  exhaust: {bus: line, unit: 3, table: holding, address: 12}"}
	if err != nil || strings.Join(in, "\n") != strings.Join(want, "\n") || id[0] != "  - {bus: line, unit: 3, table: holding, address: 100, is: 7}" {
		t.Errorf("%v\n%s\n%s", err, strings.Join(in, "\n"), id)
	}
	for _, c := range []struct {
		use  Use
		want string
	}{
		{Use{}, "base must be given: first"},
		{Use{Set: map[string]int{"base": 1, "bse": 2}}, "no parameter bse; it has base, step"},
		{Use{Set: map[string]int{"base": 1}, Roles: map[string]string{"bean": "c"}}, "no point c for the role bean; it has a, b"},
	} {
		if _, _, _, err := m.Lines(&c.use); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%+v: %v, want %q", c.use, err, c.want)
		}
	}
}

func TestBrokenMaps(t *testing.T) {
	for _, c := range []struct{ text, want string }{
		{"what: a\nlayout: b\ntried: c\npoints: {}\n", "allowed keys are"},
		{"what: a\nlayout: b\ninputs: {a: {}}\n", "tried must say"},
		{"what: a\nlayout: b\ntried: c\n", "no inputs and no outputs"},
		{"what: a\nlayout: b\ntried: c\ninputs: {a: {}}\noutputs: {a: {}}\n", "two names"},
		{"what: [", "map x"},
	} {
		if _, err := Parse("x", []byte(c.text)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%q: %v, want %q", c.text, err, c.want)
		}
	}
	if _, err := Load("no-such-map"); err == nil || !strings.Contains(err.Error(), "thermocouple-8") {
		t.Errorf("%v does not list the shipped ones", err)
	}
}

package amend

import (
	"strings"
	"testing"

	"gopkg.in/yaml.v3"

	"drumwright/profiles"
)

const file = `# owner's words
bed:                        # starting figures
  gas_to_beans: 11.6 W/K    # exchange at nominal flow
  drum_heat: 1960 J/K
heaters:
  air: {power: 4 kW, efficiency: 95 %}  # in braces
loops:
  air:
    # a word on gains
    gains:
      gain: 30 W/K
      integral: 20 s
    slew: 4 K/s
  bean: {gains: [{a: 1}], slew: 1}
`

func TestApply(t *testing.T) {
	for _, tc := range []struct {
		name string
		e    Edit
		want []string // lines that must be there
		gone string
	}{
		{"scalar with a comment", Edit{Path: "bed.gas_to_beans", Value: "12.25 W/K"}, []string{"  gas_to_beans: 12.25 W/K   # exchange at nominal flow; before today: 11.6 W/K"}, ""},
		{"scalar without", Edit{Path: "bed.drum_heat", Value: "2100 J/K"}, []string{"  drum_heat: 2100 J/K  # before today: 1960 J/K"}, ""},
		{"scalar in braces", Edit{Path: "heaters.air.efficiency", Value: "91 %"}, []string{"  air: {power: 4 kW, efficiency: 91 %}  # in braces; before today: 95 %"}, ""},
		{"new scalar in braces", Edit{Path: "heaters.air.duct_lag", Value: "2 s"}, []string{"  air: {power: 4 kW, efficiency: 95 %, duct_lag: 2 s}  # in braces"}, ""},
		{"list in braces", Edit{Path: "loops.bean.gains", Lines: []string{"- {a: 2}", "- {a: 3}"}}, []string{"  bean: {gains: [{a: 2}, {a: 3}], slew: 1}  # before today: [{a: 1}]"}, ""},
		{"new scalar", Edit{Path: "bed.probe_lag", Value: "28 s"}, []string{"  probe_lag: 28 s"}, ""},
		{"new section", Edit{Path: "telemetry.every", Value: "2 s"}, []string{"telemetry:", "  every: 2 s"}, ""},
		{"new block", Edit{Path: "loops.air.gains_at_flow", Lines: []string{"- {flow: 30 kg/h, gain: 20 W/K}"}}, []string{"    gains_at_flow:", "      - {flow: 30 kg/h, gain: 20 W/K}"}, ""},
		{"taken out", Edit{Path: "loops.air.gains"}, []string{"    # before today:", "    # gains:", "    #   gain: 30 W/K", "    #   integral: 20 s", "    slew: 4 K/s"}, "\n    gains:"},
		{"nothing to take out", Edit{Path: "loops.base.gains"}, []string{"    gains:"}, ""},
	} {
		t.Run(tc.name, func(t *testing.T) {
			out, err := Apply([]byte(file), []Edit{tc.e}, "today")
			if err != nil {
				t.Fatal(err)
			}
			have := "\n" + string(out)
			for _, l := range tc.want {
				if !strings.Contains(have, "\n"+l+"\n") {
					t.Errorf("the line %q is missing in\n%s", l, out)
				}
			}
			if tc.gone != "" && strings.Contains(have, tc.gone) {
				t.Errorf("%q is still there in\n%s", tc.gone, out)
			}
			for _, l := range []string{"# owner's words", "    # a word on gains", "    slew: 4 K/s"} {
				if !strings.Contains(string(out), l) {
					t.Errorf("%q of the owner is lost", l)
				}
			}
			var any map[string]any
			if err := yaml.Unmarshal(out, &any); err != nil {
				t.Errorf("no YAML any more: %v\n%s", err, out)
			}
		})
	}
}

func TestApplyRefuses(t *testing.T) {
	for name, e := range map[string]Edit{
		"two keys into braces": {Path: "heaters.air.more.less", Value: "2 s"},
		"out of braces":        {Path: "loops.bean.gains"},
		"below a scalar":       {Path: "bed.drum_heat.more", Value: "2"},
		"scalar for a block":   {Path: "loops.air.gains", Value: "2"},
	} {
		if out, err := Apply([]byte(file), []Edit{e}, "today"); err == nil || !strings.Contains(err.Error(), "by hand") {
			t.Errorf("%s: %v\n%s", name, err, out)
		}
	}
	if _, err := Apply([]byte("- a list"), []Edit{{Path: "a", Value: "1"}}, ""); err == nil {
		t.Error("a list is taken for a file")
	}
}

// A shipped machine takes new gains and a new figure, twice, and stays a
// machine with exactly those.
func TestApplyToShippedMachine(t *testing.T) {
	for _, name := range profiles.ExampleNames() {
		if !strings.HasPrefix(name, "machines/") {
			continue
		}
		text, _ := profiles.Example(name)
		for _, gain := range []string{"21", "22"} {
			var err error
			text, err = Apply(text, []Edit{
				{Path: "loops.air.gains_at_flow", Lines: []string{"- {flow: 5 kg/h, gain: " + gain + " W/K, integral: 20 s, derivative: 4 s}"}},
				{Path: "bed.drum_heat", Value: gain + "00 J/K"},
			}, "today")
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			m, err := profiles.ParseMachine(name, text)
			if err != nil {
				t.Fatalf("%s: %v\n%s", name, err, text)
			}
			if len(m.Loops.Air.AtFlow) != 1 || m.Loops.Air.AtFlow[0].GainWPerK != float64(20+gain[1]-'0') || float64(m.Bed.DrumHeat) != 2000+100*float64(gain[1]-'0') {
				t.Errorf("%s: %+v, %v", name, m.Loops.Air, m.Bed.DrumHeat)
			}
		}
		if !strings.Contains(string(text), "before today: ") {
			t.Errorf("%s: the earlier value is not kept", name)
		}
	}
}

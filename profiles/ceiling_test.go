package profiles_test

import (
	"fmt"
	"strings"
	"testing"

	"drumwright/profiles"
	"drumwright/safety"
)

// A file may set a limit at its hard ceiling and no further, so that what the
// gate does is what the file says.
func TestLimitsEndAtTheCeilings(t *testing.T) {
	for _, c := range []struct {
		key     string
		ceiling float64
		text    string // %v = the value
	}{
		{"bean_high", safety.CeilingBeanC, "{at: %v °C}"},
		{"inlet_high", safety.CeilingInletC, "{at: %v °C}"},
		{"exhaust_high", safety.CeilingExhaustC, "{at: %v °C}"},
		{"skin_high", safety.CeilingSkinC, "{at: %v °C}"},
		{"element_high", safety.CeilingElementC, "{at: %v °C}"},
		{"limit_probe_high", safety.CeilingLimitProbeC, "{at: %v °C}"},
		{"drum_stall", safety.CeilingStallS, "%v s"},
		{"air_lost", safety.CeilingAirLostS, "%v s"},
		{"unit_lost", safety.CeilingBusLostS, "%v s"},
	} {
		parse := func(v float64) error {
			// A wide plausible range keeps the probes out of the way of the ceilings.
			text := changed(t, "small-machine.yaml", "nominal_batch: 1 kg\n", "nominal_batch: 1 kg\nlimits:\n  "+c.key+": "+fmt.Sprintf(c.text, v)+"\n")
			for _, i := range []string{"address: 0, scale: 0.1", "address: 1, scale: 0.1", "address: 2, scale: 0.1"} {
				text = strings.Replace(text, i, i+", max: 900", 1)
			}
			_, err := profiles.ParseMachine("m.yaml", []byte(text))
			return err
		}
		if err := parse(c.ceiling); err != nil {
			t.Errorf("%s at its ceiling: %v", c.key, err)
		}
		if err := parse(c.ceiling * 1.001); err == nil {
			t.Errorf("%s above its ceiling of %v is taken", c.key, c.ceiling)
		}
	}
}

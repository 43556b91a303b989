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
		{"bean_high", 250, "{at: %v °C}"},
		{"inlet_high", 450, "{at: %v °C}"},
		{"exhaust_high", 300, "{at: %v °C}"},
		{"skin_high", 330, "{at: %v °C}"},
		{"element_high", 800, "{at: %v °C}"},
		{"limit_probe_high", 380, "{at: %v °C}"},
		{"drum_stall", 5, "%v s"},
		{"air_lost", 2, "%v s"},
		{"unit_lost", 5, "%v s"},
	} {
		parse := func(v float64) (*profiles.Machine, error) {
			// A wide plausible range keeps the probes out of the way of the ceilings.
			text := changed(t, "small-machine.yaml", "nominal_batch: 1 kg\n", "nominal_batch: 1 kg\nlimits:\n  "+c.key+": "+fmt.Sprintf(c.text, v)+"\n")
			for _, i := range []string{"address: 0, scale: 0.1", "address: 1, scale: 0.1", "address: 2, scale: 0.1"} {
				text = strings.Replace(text, i, i+", max: 900", 1)
			}
			return profiles.ParseMachine("m.yaml", []byte(text))
		}
		m, err := parse(c.ceiling)
		if err != nil {
			t.Errorf("%s at its ceiling: %v", c.key, err)
		} else if low := safety.Lowered(m); len(low) > 0 {
			t.Errorf("%s at %v: the gate lowers what the file says: %v", c.key, c.ceiling, low)
		}
		if _, err := parse(c.ceiling * 1.001); err == nil {
			t.Errorf("%s above its ceiling of %v is taken", c.key, c.ceiling)
		}
	}
}

package profiles_test

import (
	"strings"
	"testing"

	"drumwright/profiles"
)

func TestExceptions(t *testing.T) {
	parse := func(list string) (*profiles.Machine, error) {
		text := changed(t, "small-machine.yaml", "nominal_batch: 1 kg\n", "nominal_batch: 1 kg\nexceptions:\n"+list)
		return profiles.ParseMachine("m.yaml", []byte(text))
	}
	m, err := parse("  - {cause: drum_slip, who: Ada, until: 2026-12-31, why: belt on order}\n")
	if err != nil {
		t.Fatal(err)
	}
	if want := (profiles.Exception{Cause: "drum_slip", Who: "Ada", Until: "2026-12-31", Why: "belt on order"}); len(m.Exceptions) != 1 || m.Exceptions[0] != want {
		t.Errorf("%+v", m.Exceptions)
	}
	for list, want := range map[string]string{
		"  - {cause: drum_slip, who: Ada, until: 2026-12-31}\n":                                                      "exceptions[1].why: found no such key",
		"  - {cause: drum_slip, who: Ada, until: 2026-02-30, why: x}\n":                                              "exceptions[1].until",
		"  - {cause: drum_slip, who: Ada, until: next week, why: x}\n":                                               "a date such as 2026-12-31",
		"  - {cause: drum_slip, who: ' ', until: 2026-12-31, why: x}\n":                                              "exceptions[1].who: found nothing",
		"  - {cause: drum_slip, who: Ada, until: 2026-12-31 10:00:00, why: x}\n":                                     "exceptions[1].until",
		"  - {cause: a, who: Ada, until: 2026-12-31, why: x}\n  - {cause: a, who: Ada, until: 2026-12-31, why: x}\n": "a second time",
	} {
		if _, err := parse(list); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%s: %v, want %q", list, err, want)
		}
	}
}

package profiles

import (
	"strings"
	"time"
)

// Exception is a built-in cause that does not trip until the end of a day: a
// named person has said so and why. Package safety says which causes may be
// excepted at all; without the date of today none is.
type Exception struct {
	Cause string `yaml:"cause" need:"yes" doc:"the cause as matrix and check name it"`
	Who   string `yaml:"who" need:"yes" doc:"the person who answers for it"`
	Until string `yaml:"until" need:"yes" doc:"last day of it, such as 2026-12-31"`
	Why   string `yaml:"why" need:"yes" doc:"the reason, and what is watched instead"`
}

// checkExceptions asks for whole exceptions with a real date. Whether a cause
// exists and may be excepted is not known here.
func (s *source) checkExceptions(list []Exception) {
	seen := map[string]bool{}
	for i, e := range list {
		key := entry("exceptions", i)
		if !s.sound(key) {
			continue
		}
		for _, f := range [...]struct{ name, text string }{{"cause", e.Cause}, {"who", e.Who}, {"why", e.Why}} {
			if s.has(join(key, f.name)) && strings.TrimSpace(f.text) == "" {
				s.fault(join(key, f.name), "nothing", "words", "say it, or take the exception out")
			}
		}
		if k := join(key, "until"); s.has(k) && s.sound(k) {
			if _, err := time.Parse(time.DateOnly, e.Until); err != nil {
				s.fault(k, shown(e.Until), "a date such as 2026-12-31", "write year, month and day")
			}
		}
		if seen[e.Cause] {
			s.fault(join(key, "cause"), shown(e.Cause)+" a second time", "each cause once", "take one of them out")
		}
		seen[e.Cause] = true
	}
}

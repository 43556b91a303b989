package doctor

import "fmt"

// Grade says how much a finding matters.
type Grade string

// The grades, from best to worst.
const (
	Good    Grade = "good"
	Unknown Grade = "unknown" // it could not be found out here
	Warning Grade = "warning" // it will bite some day
	Fault   Grade = "fault"   // it bites now
)

// Finding is one thing that was looked at.
type Finding struct {
	What  string `json:"what"`
	Grade Grade  `json:"grade"`
	Said  string `json:"said"`         // what was found
	Do    string `json:"do,omitempty"` // what a person can do about it
}

func good(what, format string, a ...any) Finding {
	return Finding{What: what, Grade: Good, Said: fmt.Sprintf(format, a...)}
}

func unknown(what, format string, a ...any) Finding {
	return Finding{What: what, Grade: Unknown, Said: fmt.Sprintf(format, a...)}
}

// but makes a finding worse and says what to do.
func (f Finding) but(g Grade, do string) Finding {
	f.Grade, f.Do = g, do
	return f
}

// Worst is the worst grade of a list; unknown things are not held against anybody.
func Worst(list []Finding) Grade {
	worst := Good
	for _, f := range list {
		if f.Grade == Fault || f.Grade == Warning && worst != Fault {
			worst = f.Grade
		}
	}
	return worst
}

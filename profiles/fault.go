package profiles

import (
	"fmt"
	"sort"
	"strings"
)

// Fault is one thing that is wrong in a file.
type Fault struct {
	File    string
	Line    int    // counted from 1; 0 = the file as a whole
	Key     string // path of keys, list entries counted from 1; empty = the file as a whole
	Found   string
	Allowed string
	Hint    string // what to do
}

// String is the fault as one line: place, key, what was found, what is allowed
// and what to do.
func (f Fault) String() string {
	var b strings.Builder
	b.WriteString(f.File)
	if f.Line > 0 {
		fmt.Fprintf(&b, ":%d", f.Line)
	}
	b.WriteString(": ")
	if f.Key != "" {
		b.WriteString(f.Key + ": ")
	}
	fmt.Fprintf(&b, "found %s; allowed: %s; %s", f.Found, f.Allowed, f.Hint)
	return b.String()
}

// Faults are all faults of a file and of the maps it uses, each in the order of its
// lines. It is the error that Load, Parse and Fit return.
type Faults []Fault

// Error gives one fault a line.
func (fs Faults) Error() string {
	lines := make([]string, len(fs))
	for i, f := range fs {
		lines[i] = f.String()
	}
	return strings.Join(lines, "\n")
}

// sorted orders by file, first comes first, and line, faults of one line as they
// were found.
func (fs Faults) sorted(first string) Faults {
	sort.SliceStable(fs, func(i, j int) bool {
		a, b := &fs[i], &fs[j]
		if a.File != b.File {
			return a.File == first || b.File != first && a.File < b.File
		}
		return a.Line < b.Line
	})
	return fs
}

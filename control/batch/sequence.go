package batch

import "strings"

// Markdown is the sequence as a table for people: which state leads where, and
// why. The order is that in which the rows are looked at.
func Markdown() string {
	var b strings.Builder
	b.WriteString("| in | goes to | when | recorded as |\n|---|---|---|---|\n")
	for i := range Table {
		t := &Table[i]
		from := make([]string, len(t.From))
		for j, s := range t.From {
			from[j] = s.String()
		}
		b.WriteString("| " + strings.Join(from, ", ") + " | " + t.To.String() + " | " + t.Reason + " | " + t.Name + " |\n")
	}
	return b.String()
}

package safety

import (
	"fmt"
	"math"
	"strings"
	"time"

	"drumwright/io/record"
	"drumwright/profiles"
)

// Option changes how a gate is made.
type Option func(*Gate)

// Today gives the date, such as 2026-08-01, by which exceptions end, and for how
// long that day goes on yet, s of scan time; a gate that outlives the last day of
// an exception ends it. Without it none is in force.
func Today(date string, leftS float64) Option {
	return func(g *Gate) {
		for i := range g.table {
			e := inForce(g.machine, &g.table[i], date)
			if !g.covered[i] || e == nil {
				continue
			}
			g.exceptedS[i] = leftS + daySeconds*daysBetween(date, e.Until)
		}
	}
}

const daySeconds = 86400.0

// daysBetween is the number of whole days from one date to a later one; 0 if
// either is no date.
func daysBetween(from, to string) float64 {
	a, errA := time.Parse(time.DateOnly, from)
	b, errB := time.Parse(time.DateOnly, to)
	if errA != nil || errB != nil {
		return 0
	}
	return math.Max(0, math.Round(b.Sub(a).Hours()/24))
}

// isExcepted reports whether a row does not trip now.
func (g *Gate) isExcepted(i int) bool { return g.scanS < g.exceptedS[i] }

// inForce is the exception that keeps a row from tripping on a day, nil when
// there is none. Dates of this form sort as text.
func inForce(m *profiles.Machine, r *Row, date string) *profiles.Exception {
	for i := range m.Exceptions {
		if e := &m.Exceptions[i]; e.Cause == r.ID && !r.Fixed && !r.Warn && date != "" && date <= e.Until {
			return e
		}
	}
	return nil
}

func exceptionText(e *profiles.Exception) string {
	return fmt.Sprintf("does not trip until the end of %s by exception of %s: %s.", e.Until, e.Who, strings.TrimSuffix(e.Why, "."))
}

// Exceptions says in plain words which causes do not trip on a day, in the
// order of the table. The error names the exceptions of the machine file that
// can never be in force; a gate ignores those.
func Exceptions(m *profiles.Machine, date string) ([]string, error) {
	var out []string
	table := Rows(m)
	for i := range table {
		if e := inForce(m, &table[i], date); e != nil {
			out = append(out, table[i].ID+" "+exceptionText(e))
		}
	}
	var faults profiles.Faults
	for i, e := range m.Exceptions {
		fault := profiles.Fault{File: m.File, Key: fmt.Sprintf("exceptions[%d].cause", i+1), Found: e.Cause, Hint: "take the exception out, or mend what makes the cause act"}
		r := find(table, e.Cause)
		switch {
		case r == nil:
			fault.Allowed = "a cause of this program, as drumwright matrix lists them"
		case r.Fixed:
			fault.Allowed = "no exception: this cause protects against fire, injury or loss of all control"
		case r.Warn:
			fault.Allowed = "a cause that trips: this one only warns"
		default:
			continue
		}
		faults = append(faults, fault)
	}
	if faults != nil {
		return out, faults
	}
	return out, nil
}

func find(table []Row, id string) *Row {
	for i := range table {
		if table[i].ID == id {
			return &table[i]
		}
	}
	return nil
}

// runExcepted looks at a row that does not trip: it stands as a warning all the
// time, and what it would have tripped for is told each time.
func (g *Gate) runExcepted(i int, rec *record.Scan) {
	r := &g.table[i]
	if !g.warned[i] {
		g.warned[i], g.found[i] = true, finding{detail: "exception"}
		for k := range g.machine.Exceptions {
			if e := &g.machine.Exceptions[k]; e.Cause == r.ID {
				rec.Add(record.Event{Kind: record.Warning, Name: r.ID, Text: r.ID + " " + exceptionText(e) + " It would say: " + r.Cause})
			}
		}
	}
	if !g.isArmed(r.Arm) {
		g.stands[i], g.told[i] = 0, false
		return
	}
	f := r.signal(g, &g.v)
	if g.stand(i, f.active) && !g.told[i] {
		g.told[i], g.found[i] = true, f
		rec.Add(record.Event{Kind: record.Warning, Name: r.ID, Text: "By exception no trip: " + r.Cause + " " + f.String() + " " + r.Action, Value: f.value, Limit: f.limit})
	}
	if g.stands[i] == 0 {
		g.told[i] = false
	}
}

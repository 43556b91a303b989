package alarm

import (
	"fmt"
	"strings"

	"drumwright/io/record"
)

// Acknowledge takes on the alarm of a cause, or all for "". From afar (not
// local) it needs a name and leaves the horn alone, see the package comment. It
// is refused, with the reason, when there is nothing to take on.
func (l *List) Acknowledge(cause, who string, local bool, rec *record.Scan) (bool, string) {
	who = strings.TrimSpace(who)
	if who == "" && !local {
		return false, "away from the machine an alarm is acknowledged by a named person: give your name"
	}
	n, known := 0, cause == ""
	for i := range l.all {
		if cause != "" && l.rows[i].ID != cause {
			continue
		}
		known = true
		if !l.all[i].shown.State.Unacknowledged() {
			continue
		}
		if local && l.sounds(i) {
			l.quiet(i)
		}
		from := "at the machine"
		if !local {
			from = "from afar"
		}
		l.take(i, who, from, rec)
		n++
	}
	switch {
	case !known:
		return false, fmt.Sprintf("there is no alarm %q: the list of alarms has their names", cause)
	case n == 0 && l.Horn():
		return false, "nothing is left to acknowledge: silence stops the horn"
	case n == 0:
		return false, "nothing is left to acknowledge"
	}
	return true, fmt.Sprintf("%d acknowledged", n)
}

// Waits reports whether some alarm waits to be acknowledged.
func (l *List) Waits() bool {
	for i := range l.all {
		if l.all[i].shown.State.Unacknowledged() {
			return true
		}
	}
	return false
}

// Lift notes that the latch of a row was reset: whoever did has seen the alarm.
func (l *List) Lift(i int, who string, rec *record.Scan) {
	e := &l.all[i]
	if e.shown.State.Unacknowledged() {
		l.take(i, strings.TrimSpace(who), "with the reset", rec)
	}
	e.present, e.latched = false, false
	e.settle()
}

// take acknowledges one alarm.
func (l *List) take(i int, who, from string, rec *record.Scan) {
	e := &l.all[i]
	e.acked, e.shown.AckedS, e.shown.AckedBy = true, l.nowS, named(who)
	e.settle()
	rec.Add(record.Event{Kind: record.Acknowledged, Name: e.shown.ID, Text: "acknowledged by " + e.shown.AckedBy + " " + from})
}

// named is who, or what is known of somebody who gave no name.
func named(who string) string {
	if who == "" {
		return "somebody"
	}
	return who
}

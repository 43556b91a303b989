package alarm

import (
	"fmt"

	"drumwright/io/record"
)

// A silenced alarm sounds again while it goes on, and can be silenced so often
// each time it comes (estimates, common practice, no source).
const (
	quietS       = 60
	mostSilences = 3
)

// Horn reports whether the alarms sound.
func (l *List) Horn() bool {
	for i := range l.all {
		if l.sounds(i) {
			return true
		}
	}
	return false
}

func (l *List) sounds(i int) bool { return l.calls(i) && l.nowS >= l.all[i].quietUntilS }

// calls reports whether an alarm wants to be heard, silenced or not. From
// medium on it does until it is acknowledged and somebody at the machine has
// heard it; from high on it does for as long as the condition is there.
func (l *List) calls(i int) bool {
	e := &l.all[i]
	switch p := l.rows[i].Priority; {
	case p < record.PriorityMedium:
		return false
	case e.present && p >= record.PriorityHigh:
		return true
	case e.acked && e.shown.Silences > 0:
		return false
	}
	return e.present || e.latched
}

// quiet silences an alarm that sounds, if that is still allowed.
func (l *List) quiet(i int) bool {
	e := &l.all[i]
	if e.shown.Silences >= mostSilences {
		return false
	}
	e.shown.Silences++
	e.quietUntilS = l.nowS + quietS
	return true
}

// Silence stops the horn for 60 s, as somebody at the machine asks. It is
// refused, with the reason, when nothing sounds and when every alarm that does
// has been silenced three times since it came.
func (l *List) Silence(who string, rec *record.Scan) (bool, string) {
	who = named(who)
	n, spent := 0, ""
	for i := range l.all {
		if !l.sounds(i) {
			continue
		}
		s := &l.all[i].shown
		if !l.quiet(i) {
			if spent == "" {
				spent = s.ID
			}
			continue
		}
		n++
		rec.Add(record.Event{Kind: record.Silenced, Name: s.ID, Text: fmt.Sprintf("silenced for %d s by %s, %d of %d", quietS, who, s.Silences, mostSilences),
			Value: float64(s.Silences), Limit: mostSilences})
	}
	switch {
	case spent != "":
		return n > 0, fmt.Sprintf("%s has been silenced %d times: see to its cause, the horn goes on until then", spent, mostSilences)
	case n == 0:
		return false, "no alarm sounds"
	}
	return true, fmt.Sprintf("silenced for %d s", quietS)
}

// respondS is the time within which somebody must have acknowledged an alarm of
// high or critical priority whose condition is there: as long as silencing could
// put it off (estimate, common practice, no source).
const respondS = quietS * (mostSilences + 1)

// ignored says why an alarm counts as ignored, "" when it does not.
func (l *List) ignored(i int) string {
	e := &l.all[i]
	switch {
	case e.shown.Silences >= mostSilences && l.sounds(i):
		return "Silenced three times and still so: "
	case l.rows[i].Priority >= record.PriorityHigh && e.present && !e.acked && l.nowS-e.shown.RaisedS >= respondS:
		return "Nobody has acknowledged it in its time: "
	}
	return ""
}

// escalate tells, once each time it came, of an alarm that is ignored.
func (l *List) escalate(rec *record.Scan) {
	for i := range l.all {
		e := &l.all[i]
		if e.shown.Escalated {
			continue
		}
		why := l.ignored(i)
		if why == "" {
			continue
		}
		e.shown.Escalated = true
		text := e.shown.Text + " " + why
		if l.rows[i].Escalates {
			text += "the machine shuts down in order."
		} else {
			text += "see to it now; the machine already does what it can."
		}
		rec.Add(record.Event{Kind: record.Escalated, Name: e.shown.ID, Text: text, Value: l.nowS - e.shown.RaisedS, Limit: respondS})
	}
}

// ShutDown reports whether an alarm that ends in a controlled shut-down when it
// is ignored was, and its condition is still there.
func (l *List) ShutDown() bool {
	for i := range l.all {
		if e := &l.all[i]; l.rows[i].Escalates && e.shown.Escalated && e.present {
			return true
		}
	}
	return false
}

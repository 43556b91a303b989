package alarm

import (
	"math"

	"drumwright/io/record"
)

// Row is what does not change about an alarm.
type Row struct {
	ID        string
	Text      string // the cause, one sentence
	Priority  record.Priority
	Group     uint8 // the first alarm of a group is marked until the group is clear; 0 = no group
	Escalates bool  // being ignored ends in a controlled shut-down
}

// Seen says what can be seen of a condition now.
type Seen uint8

// What can be seen.
const (
	Gone    Seen = iota
	Unsure       // neither there nor gone for certain: as it was before
	Present      // for as long as its delay asks
)

// Condition is what an Update knows about a row.
type Condition struct {
	Seen         Seen
	Latched      bool    // held until a reset, whether it is there or not
	Value, Limit float64 // read when the alarm comes
	Unit         string
}

// List is the alarm list. Make one with New; use it from one goroutine.
type List struct {
	rows  []Row
	all   []entry
	first []int   // by group: the row that came first, -1 = none
	nowS  float64 // never runs backwards
	lastS float64 // time as given
	addS  float64 // what it has run backwards
	begun bool
	flood flood
	count uint64
}

// entry is an alarm with what is not shown of it.
type entry struct {
	shown       record.Alarm
	present     bool
	latched     bool
	acked       bool
	quietUntilS float64
	cameS       [chatterCount]float64 // the last times it came, a ring by count
}

// New makes the list of a table. The rows in latched stand unacknowledged from
// before a restart, in the order in which they came: the first of a group is its
// first-out.
func New(rows []Row, latched []int) *List {
	l := &List{rows: rows, all: make([]entry, len(rows))}
	groups := uint8(0)
	for i := range rows {
		groups = max(groups, rows[i].Group)
	}
	l.first = make([]int, int(groups)+1)
	for g := range l.first {
		l.first[g] = -1
	}
	for i := range rows {
		e := &l.all[i]
		e.shown = record.Alarm{ID: rows[i].ID, Text: rows[i].Text, Priority: rows[i].Priority}
		e.acked = true
		e.settle()
	}
	for _, i := range latched {
		e := &l.all[i]
		e.acked, e.latched = false, true
		l.mark(i)
		e.settle()
	}
	return l
}

// Update takes what is known of each row in this scan, in the order of the
// table, and writes the list into the record. Time that is no number or runs
// backwards stands still.
func (l *List) Update(nowS float64, now []Condition, rec *record.Scan) {
	l.tick(nowS)
	for i := range l.all {
		l.move(i, &now[i], rec)
	}
	for g := range l.first {
		if l.first[g] >= 0 && l.clear(uint8(g)) {
			l.all[l.first[g]].shown.FirstOut = false
			l.first[g] = -1
		}
	}
	if l.flood.ends(l.nowS) {
		rec.Add(record.Event{Kind: record.Flood, Name: "alarm_flood", Text: "the flood of alarms is over"})
		for i := range l.all {
			l.all[i].shown.Suppressed = false
		}
	}
	l.escalate(rec)
	l.show(&rec.Alarms)
}

func (l *List) tick(nowS float64) {
	if math.IsNaN(nowS) || math.IsInf(nowS, 0) {
		return
	}
	switch gap := nowS - l.lastS; {
	case !l.begun:
		l.begun = true
		for i := range l.all { // what stands from before the restart calls from now on
			l.all[i].quietUntilS = nowS
		}
	case gap < 0:
		l.addS -= gap
	}
	l.lastS, l.nowS = nowS, max(l.nowS, nowS+l.addS)
}

// move brings one alarm up to date.
func (l *List) move(i int, c *Condition, rec *record.Scan) {
	e := &l.all[i]
	present := c.Seen == Present || c.Seen == Unsure && e.present
	came := !e.present && (present || c.Latched && !e.latched)
	if e.present && !present {
		e.shown.ReturnedS = l.nowS
		if c.Latched {
			rec.Add(record.Event{Kind: record.Returned, Name: e.shown.ID, Text: e.shown.Text + " Gone, but latched."})
		}
	}
	if came && e.latched {
		rec.Add(record.Event{Kind: record.Realarm, Name: e.shown.ID, Text: e.shown.Text + " Again.", Value: c.Value, Limit: c.Limit})
	}
	e.present, e.latched = present, c.Latched
	if came {
		l.raise(i, c, rec)
	}
	e.shown.Chattering = e.chatters(l.nowS)
	e.settle()
}

// raise notes that an alarm has come, for the first time or again.
func (l *List) raise(i int, c *Condition, rec *record.Scan) {
	e := &l.all[i]
	s := &e.shown
	e.acked, e.quietUntilS = false, l.nowS
	e.cameS[s.Count%chatterCount] = l.nowS
	s.RaisedS, s.ReturnedS, s.AckedS, s.AckedBy = l.nowS, l.nowS, 0, ""
	s.Value, s.Limit, s.Unit = c.Value, c.Limit, c.Unit
	s.Count++
	s.Silences, s.Escalated = 0, false
	l.count++
	if l.flood.comes(l.nowS) {
		rec.Add(record.Event{Kind: record.Flood, Name: "alarm_flood", Text: "a flood of alarms has begun: see to the critical ones first",
			Value: floodBegins, Limit: floodBegins})
	}
	s.Suppressed = l.flood.on && s.Priority == record.PriorityLow
	l.mark(i)
}

// mark makes a row the first-out of its group, if nothing else is.
func (l *List) mark(i int) {
	if g := l.rows[i].Group; g > 0 && l.first[g] < 0 {
		l.first[g], l.all[i].shown.FirstOut = i, true
	}
}

// clear reports whether all alarms of a group are normal.
func (l *List) clear(group uint8) bool {
	for i := range l.rows {
		if l.rows[i].Group == group && l.all[i].shown.State != record.AlarmNormal {
			return false
		}
	}
	return true
}

// settle derives the state from what is so.
func (e *entry) settle() {
	switch s := &e.shown.State; {
	case e.present && e.acked:
		*s = record.AlarmAcknowledged
	case e.present:
		*s = record.AlarmUnacknowledged
	case e.latched && e.acked:
		*s = record.AlarmLatchedAcknowledged
	case e.latched:
		*s = record.AlarmLatched
	case e.acked:
		*s = record.AlarmNormal
	default:
		*s = record.AlarmReturned
	}
}

// show writes the list.
func (l *List) show(a *record.Alarms) {
	a.Num = min(len(l.all), len(a.List))
	a.NotShown = len(l.all) - a.Num
	for i := range a.List[:a.Num] {
		a.List[i] = l.all[i].shown
	}
	a.Activations, a.Flood, a.Horn = l.count, l.flood.on, l.Horn()
}

// Standing counts the alarms whose condition is there or latched.
func (l *List) Standing() int {
	n := 0
	for i := range l.all {
		if l.all[i].shown.State.Stands() {
			n++
		}
	}
	return n
}

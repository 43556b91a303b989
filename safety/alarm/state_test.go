package alarm_test

import (
	"math"
	"strings"
	"testing"

	"drumwright/io/record"
	"drumwright/safety/alarm"
)

// desk is a list with what the gate would tell it.
type desk struct {
	l    *alarm.List
	now  []alarm.Condition
	rec  record.Scan
	nowS float64
}

func newDesk(rows ...alarm.Row) *desk { return restarted(nil, rows...) }

func restarted(latched []int, rows ...alarm.Row) *desk {
	d := &desk{l: alarm.New(rows, latched), now: make([]alarm.Condition, len(rows)), nowS: 10}
	for _, i := range latched {
		d.now[i].Latched = true
	}
	d.scan(0)
	return d
}

func (d *desk) scan(dS float64) {
	d.nowS += dS
	d.rec.NumEvents = 0
	d.l.Update(d.nowS, d.now, &d.rec)
}

// put shows a condition for one scan.
func (d *desk) put(i int, s alarm.Seen) {
	d.now[i].Seen = s
	d.scan(0.5)
}

func (d *desk) alarm(i int) *record.Alarm { return &d.rec.Alarms.List[i] }

func (d *desk) events(k record.EventKind) int {
	n := 0
	for _, e := range d.rec.Events[:d.rec.NumEvents] {
		if e.Kind == k {
			n++
		}
	}
	return n
}

func row(p record.Priority) alarm.Row { return alarm.Row{ID: "x", Text: "X is so.", Priority: p} }

// The transitions of ISA-18.2-2016 and IEC 62682:2022 between the states A to
// F, as recalled from the standards' state diagram (from memory, not checked
// against the text). Letters: + the condition comes, - it goes, ? it cannot be
// told, a acknowledged, r reset. The marked ones are this program's own.
func TestStatesOfTheStandard(t *testing.T) {
	const (
		A = record.AlarmNormal
		B = record.AlarmUnacknowledged
		C = record.AlarmAcknowledged
		D = record.AlarmReturned
		E = record.AlarmLatched
		F = record.AlarmLatchedAcknowledged
	)
	for _, c := range []struct {
		latching bool
		steps    string
		want     []record.AlarmState // after each step
	}{
		{false, "+a-", []record.AlarmState{B, C, A}},
		{false, "+-a", []record.AlarmState{B, D, A}},
		{false, "+-+", []record.AlarmState{B, D, B}},
		{false, "+a-+", []record.AlarmState{B, C, A, B}},
		{false, "++aa+", []record.AlarmState{B, B, C, C, C}},
		{false, "a-", []record.AlarmState{A, A}},
		{true, "+a-r", []record.AlarmState{B, C, F, A}},
		{true, "+-ar", []record.AlarmState{B, E, F, A}},
		{true, "+-+a-r", []record.AlarmState{B, E, B, C, F, A}},
		{true, "+a-+", []record.AlarmState{B, C, F, B}},
		{true, "+a-r+", []record.AlarmState{B, C, F, A, B}},
		{true, "+-r", []record.AlarmState{B, E, A}},                  // own: a reset takes it on as well
		{false, "?+?a?-?", []record.AlarmState{A, B, B, C, C, A, A}}, // own: unsure is as it was
		{true, "+-?a?", []record.AlarmState{B, E, E, F, F}},          // own
	} {
		d := newDesk(row(record.PriorityHigh))
		for i, s := range c.steps {
			switch s {
			case '+':
				d.now[0].Latched = c.latching
				d.put(0, alarm.Present)
			case '-':
				d.put(0, alarm.Gone)
			case '?':
				d.put(0, alarm.Unsure)
			case 'a':
				d.l.Acknowledge("", "", true, &d.rec)
				d.scan(0.5)
			case 'r':
				d.l.Lift(0, "Ada", &d.rec)
				d.now[0].Latched = false
				d.scan(0.5)
			}
			if got := d.alarm(0).State; got != c.want[i] {
				t.Errorf("latching %v, after %s: %s, want %s", c.latching, c.steps[:i+1], got, c.want[i])
			}
		}
	}
}

// Which of the states wait for somebody and which stand, by their names in the
// standard (from memory).
func TestStateWords(t *testing.T) {
	for s := record.AlarmNormal; s <= record.AlarmLatchedAcknowledged; s++ {
		name := s.String()
		if s.Unacknowledged() != strings.Contains(name, "unacknowledged") {
			t.Errorf("%s: unacknowledged %v", name, s.Unacknowledged())
		}
		if s.Stands() != (name != "normal" && !strings.HasPrefix(name, "returned")) {
			t.Errorf("%s: stands %v", name, s.Stands())
		}
	}
}

// What is kept with an alarm: times, value, who, and how often it came.
func TestWhatIsKept(t *testing.T) {
	d := newDesk(row(record.PriorityHigh))
	d.now[0] = alarm.Condition{Seen: alarm.Present, Latched: true, Value: 251, Limit: 245, Unit: "°C"}
	d.scan(2)
	d.now[0].Value = 260 // it climbs on: the value is that of the coming
	d.scan(3)
	d.l.Acknowledge("x", " Ada ", false, &d.rec)
	if d.rec.Events[0].Kind != record.Acknowledged || d.rec.Events[0].Name != "x" || d.rec.Events[0].Text != "acknowledged by Ada from afar" {
		t.Errorf("%+v", d.rec.Events[0])
	}
	d.scan(1)
	d.put(0, alarm.Gone)
	if d.events(record.Returned) != 1 {
		t.Error("its going is not told")
	}
	want := record.Alarm{ID: "x", Text: "X is so.", Unit: "°C", AckedBy: "Ada", RaisedS: 12, AckedS: 15, ReturnedS: 16.5, Value: 251, Limit: 245,
		Count: 1, Priority: record.PriorityHigh, State: record.AlarmLatchedAcknowledged}
	if *d.alarm(0) != want {
		t.Errorf("%+v\nwant %+v", *d.alarm(0), want)
	}
	d.put(0, alarm.Present)
	if d.events(record.Realarm) != 1 || d.rec.Events[0].Value != 260 {
		t.Errorf("its coming again is not told: %+v", d.rec.Events[0])
	}
	want.RaisedS, want.ReturnedS, want.AckedS, want.AckedBy, want.Value, want.Count, want.State = 17, 17, 0, "", 260, 2, record.AlarmUnacknowledged
	if *d.alarm(0) != want || d.rec.Alarms.Activations != 2 {
		t.Errorf("%+v\nwant %+v", *d.alarm(0), want)
	}
	d.now[0].Latched = false
	d.l.Lift(0, "", &d.rec)
	d.put(0, alarm.Gone)
	if a := d.alarm(0); a.State != record.AlarmNormal || a.AckedBy != "somebody" {
		t.Errorf("%+v", a)
	}
}

// A cause that is there again in the very scan after its reset is a new one.
func TestTripRightAfterAReset(t *testing.T) {
	d := newDesk(row(record.PriorityHigh))
	d.now[0].Latched = true
	d.put(0, alarm.Present)
	d.l.Lift(0, "Ada", &d.rec)
	d.put(0, alarm.Present)
	if a := d.alarm(0); a.State != record.AlarmUnacknowledged || a.Count != 2 || a.AckedBy != "" || d.events(record.Realarm) != 0 {
		t.Errorf("%+v", a)
	}
}

func TestAcknowledgeRefuses(t *testing.T) {
	d := newDesk(row(record.PriorityLow), alarm.Row{ID: "y", Priority: record.PriorityHigh})
	for _, c := range []struct {
		cause, who string
		local      bool
		ok         bool
		why        string
	}{
		{"", "", true, false, "nothing is left"},
		{"z", "Ada", true, false, `no alarm "z"`},
		{"y", "  ", false, false, "your name"},
		{"y", "Ada", false, true, "1 acknowledged"},
		{"y", "Ada", true, false, "silence stops the horn"},
		{"", "Ada", false, true, "1 acknowledged"},
	} {
		if c.cause == "y" && c.who == "  " {
			d.now[0].Seen, d.now[1].Seen = alarm.Present, alarm.Present
			d.scan(1)
		}
		if ok, why := d.l.Acknowledge(c.cause, c.who, c.local, &d.rec); ok != c.ok || !strings.Contains(why, c.why) {
			t.Errorf("%+v: %v, %q", c, ok, why)
		}
	}
}

// The first of a group is marked until the group is clear; what comes in the
// same scan is in the order of the table.
func TestFirstOut(t *testing.T) {
	g := func(id string, group uint8) alarm.Row {
		return alarm.Row{ID: id, Group: group, Priority: record.PriorityHigh}
	}
	d := newDesk(g("a", 0), g("b", 1), g("c", 1), g("d", 2), g("e", 1))
	first := func(want string) {
		t.Helper()
		got := ""
		for _, a := range d.rec.Alarms.List[:d.rec.Alarms.Num] {
			if a.FirstOut {
				got += a.ID
			}
		}
		if got != want {
			t.Errorf("first %q, want %q", got, want)
		}
	}
	trip := func(is ...int) {
		for _, i := range is {
			d.now[i] = alarm.Condition{Seen: alarm.Present, Latched: true}
		}
		d.scan(0.5)
	}
	reset := func(is ...int) {
		for _, i := range is {
			d.l.Lift(i, "Ada", &d.rec)
			d.now[i] = alarm.Condition{}
		}
		d.scan(0.5)
	}
	trip(0)
	first("")
	trip(4, 2) // a tie
	first("c")
	trip(1)
	first("c") // it came later, though it ranks before
	trip(3)
	first("cd")
	d.put(2, alarm.Gone)
	first("cd")
	reset(2)
	first("cd") // the group is not clear
	reset(1, 4)
	first("d")
	trip(1)
	first("bd")
}

func TestAfterARestart(t *testing.T) {
	d := restarted([]int{1, 2}, alarm.Row{ID: "a", Group: 1}, alarm.Row{ID: "b", Group: 1, Priority: record.PriorityHigh}, alarm.Row{ID: "c", Group: 1})
	b, c := d.alarm(1), d.alarm(2)
	if d.alarm(0).State != record.AlarmNormal || b.State != record.AlarmLatched || c.State != record.AlarmLatched || !b.FirstOut || c.FirstOut {
		t.Errorf("%+v", d.rec.Alarms.List[:3])
	}
	if !d.rec.Alarms.Horn || d.rec.Alarms.Activations != 0 || d.rec.NumEvents != 0 || d.l.Standing() != 2 {
		t.Errorf("horn %v, %d activations, %d events", d.rec.Alarms.Horn, d.rec.Alarms.Activations, d.rec.NumEvents)
	}
}

// Time that stands still, runs backwards or is no number neither loses an alarm
// nor keeps the horn quiet for longer than it runs on.
func TestTimeGoneWrong(t *testing.T) {
	d := newDesk(row(record.PriorityHigh))
	d.put(0, alarm.Present)
	d.l.Silence("Ada", &d.rec)
	for _, s := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 5, 5, math.NaN()} {
		if d.l.Update(s, d.now, &d.rec); d.rec.Alarms.Horn || d.alarm(0).State != record.AlarmUnacknowledged {
			t.Errorf("at %v: horn %v, %s", s, d.rec.Alarms.Horn, d.alarm(0).State)
		}
	}
	if d.l.Update(64.9, d.now, &d.rec); d.rec.Alarms.Horn {
		t.Error("the horn sounds after 59.9 s")
	}
	if d.l.Update(65.1, d.now, &d.rec); !d.rec.Alarms.Horn {
		t.Error("the horn is quiet after 60.1 s")
	}
}

// A table longer than the record is watched to its end.
func TestMoreThanCanBeShown(t *testing.T) {
	rows := make([]alarm.Row, record.MaxAlarms+2)
	for i := range rows {
		rows[i] = row(record.PriorityHigh)
	}
	d := newDesk(rows...)
	d.put(record.MaxAlarms+1, alarm.Present)
	if a := &d.rec.Alarms; a.Num != record.MaxAlarms || a.NotShown != 2 || !a.Horn || a.Activations != 1 || d.l.Standing() != 1 {
		t.Errorf("%d shown, %d not, horn %v", a.Num, a.NotShown, a.Horn)
	}
}

func TestSteadyUpdateAllocatesNothing(t *testing.T) {
	d := newDesk(row(record.PriorityHigh), row(record.PriorityMedium), row(record.PriorityLow))
	d.now[0] = alarm.Condition{Seen: alarm.Present, Latched: true}
	d.put(1, alarm.Present)
	d.put(1, alarm.Gone)
	if n := testing.AllocsPerRun(100, func() { d.scan(0.5) }); n != 0 {
		t.Errorf("%v allocations", n)
	}
	// Coming and going of what is not latched is told by the gate.
	seen := alarm.Gone
	if n := testing.AllocsPerRun(8, func() { seen = alarm.Present - seen; d.put(2, seen) }); n != 0 {
		t.Errorf("%v allocations while an alarm comes and goes", n)
	}
}

func BenchmarkUpdate(b *testing.B) {
	rows := make([]alarm.Row, 45)
	for i := range rows {
		rows[i] = alarm.Row{ID: "x", Priority: record.PriorityHigh, Group: 1}
	}
	d := newDesk(rows...)
	d.put(7, alarm.Present)
	b.ReportAllocs()
	for b.Loop() {
		d.scan(0.1)
	}
}

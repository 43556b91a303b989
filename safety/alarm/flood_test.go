package alarm_test

import (
	"testing"

	"drumwright/io/record"
	"drumwright/safety/alarm"
)

// floodDesk has twenty rows, of which the last is of low priority.
func floodDesk() *desk {
	rows := make([]alarm.Row, 20)
	for i := range rows {
		rows[i] = row(record.PriorityMedium)
	}
	rows[19].Priority = record.PriorityLow
	return newDesk(rows...)
}

// The figures of ISA-18.2 and IEC 62682: a flood begins at 10 alarms in 10
// minutes and ends below 5 in 10 minutes (the first as quoted in articles on the
// standard, the second from memory). That an alarm is out of the window exactly
// 600 s later is this program's own choice.
func TestFlood(t *testing.T) {
	for _, c := range []struct {
		n      int
		everyS float64
		want   bool
	}{{9, 1, false}, {10, 1, true}, {10, 66.5, true}, {10, 67, false}, {20, 67, false}, {20, 66.5, true}, {10, 0, true}} {
		d := floodDesk()
		begun := 0
		for i := range c.n {
			d.now[i].Seen = alarm.Present
			d.scan(c.everyS)
			begun += d.events(record.Flood)
		}
		if d.rec.Alarms.Flood != c.want || begun != map[bool]int{true: 1}[c.want] {
			t.Errorf("%d alarms, one in %v s: flood %v, told %d times", c.n, c.everyS, d.rec.Alarms.Flood, begun)
		}
	}
}

func TestFloodEnds(t *testing.T) {
	d := floodDesk()
	for i := range 10 {
		d.put(i, alarm.Present) // one in 0.5 s
	}
	fifthLastS := d.nowS - 4*0.5
	for d.rec.Alarms.Flood {
		d.scan(0.5)
	}
	if got := d.nowS - fifthLastS; got != 600 || d.events(record.Flood) != 1 {
		t.Errorf("the flood ends %v s after the fifth last alarm, told %d times", got, d.events(record.Flood))
	}
	for i := range 5 { // five in ten minutes begin none
		d.put(10+i, alarm.Present)
	}
	if d.rec.Alarms.Flood {
		t.Error("five alarms begin a flood")
	}
}

// What comes while a flood is on and is of low priority is marked, never hidden;
// the mark goes with the flood.
func TestSuppressed(t *testing.T) {
	d := floodDesk()
	d.put(19, alarm.Present)
	if d.alarm(19).Suppressed {
		t.Error("suppressed without a flood")
	}
	d.put(19, alarm.Gone)
	for i := range 12 {
		d.put(i, alarm.Present)
	}
	d.put(19, alarm.Present)
	if a := d.alarm(19); !a.Suppressed || a.State != record.AlarmUnacknowledged || a.Count != 2 {
		t.Errorf("%+v", a)
	}
	for i := range 12 {
		if d.alarm(i).Suppressed {
			t.Errorf("a medium alarm is suppressed")
		}
	}
	for d.rec.Alarms.Flood {
		d.scan(10)
	}
	if a := d.alarm(19); a.Suppressed || a.State != record.AlarmUnacknowledged {
		t.Errorf("after the flood: %+v", a)
	}
}

// Three comings in a minute chatter (common figure, from memory).
func TestChattering(t *testing.T) {
	for _, c := range []struct {
		everyS float64
		want   bool
	}{{29.5, true}, {30, false}, {1, true}} {
		d := newDesk(row(record.PriorityMedium))
		for n := range 3 {
			if d.alarm(0).Chattering {
				t.Errorf("chatters after %d", n)
			}
			d.put(0, alarm.Present)
			d.put(0, alarm.Gone)
			if n < 2 {
				d.scan(c.everyS - 1)
			}
		}
		if a := d.alarm(0); a.Chattering != c.want || a.Count != 3 {
			t.Errorf("once in %v s: %+v", c.everyS, a)
		}
		if d.scan(60); d.alarm(0).Chattering {
			t.Errorf("chatters a minute later")
		}
	}
}

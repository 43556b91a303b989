package alarm_test

import (
	"math"
	"strings"
	"testing"

	"drumwright/io/record"
	"drumwright/safety/alarm"
)

// soundsAfter scans until the horn sounds and gives the time since from; -1 =
// not within ten minutes.
func (d *desk) soundsAfter(fromS float64) float64 {
	for d.nowS < fromS+600 {
		if d.scan(0.1); d.rec.Alarms.Horn {
			return d.nowS - fromS
		}
	}
	return -1
}

// Who hears what: the horn from medium on, until somebody has heard it.
func TestHorn(t *testing.T) {
	for _, c := range []struct {
		p        record.Priority
		latching bool
		steps    string // + comes, - goes, a acknowledged at the machine, n from afar, s silenced, w waits 61 s
		want     string // after each step: ! or .
	}{
		{record.PriorityLow, false, "+wa", "..."},
		{record.PriorityMedium, false, "+a", "!."},
		{record.PriorityMedium, false, "+aw", "!.."},
		{record.PriorityMedium, false, "+sw", "!.!"},
		{record.PriorityMedium, false, "+-", "!."}, // nothing is there any more
		{record.PriorityMedium, true, "+-", "!!"},  // but a latch is
		{record.PriorityMedium, true, "+-aw", "!!.."},
		{record.PriorityMedium, false, "+nw", "!!!"}, // from afar nobody here has heard it
		{record.PriorityMedium, false, "+nsw", "!!.."},
		{record.PriorityMedium, false, "+snw", "!..."},
		{record.PriorityMedium, false, "+s-+", "!..!"},
		{record.PriorityHigh, false, "+aw", "!.!"}, // acknowledged and ignored
		{record.PriorityHigh, true, "+a-w", "!..."},
		{record.PriorityHigh, true, "+-saw", "!!..."},
		{record.PriorityHigh, true, "+-sw", "!!.!"},
		{record.PriorityCritical, true, "+aw-", "!.!."},
		{record.PriorityCritical, true, "+awsw-", "!.!.!."},
		{record.PriorityCritical, true, "+a-+", "!..!"},
	} {
		d := newDesk(row(c.p))
		for i, s := range c.steps {
			switch s {
			case '+':
				d.now[0].Latched = c.latching
				d.put(0, alarm.Present)
			case '-':
				d.put(0, alarm.Gone)
			case 'a':
				d.l.Acknowledge("", "", true, &d.rec)
			case 'n':
				d.l.Acknowledge("", "Ada", false, &d.rec)
			case 's':
				d.l.Silence("Ada", &d.rec)
			case 'w':
				d.scan(61)
			}
			if want := c.want[i] == '!'; d.l.Horn() != want {
				t.Errorf("%s, latching %v: horn %v after %s", c.p, c.latching, d.l.Horn(), c.steps[:i+1])
			}
		}
	}
}

// An alarm that was only acknowledged calls again after 60 ± 1 s while its
// cause stands; so it does three times, and then is told once as ignored. A new
// coming begins anew.
func TestSilenceIsLimited(t *testing.T) {
	for _, escalates := range []bool{true, false} {
		d := newDesk(alarm.Row{ID: "x", Priority: record.PriorityHigh, Escalates: escalates})
		for range 2 {
			d.put(0, alarm.Present)
			fromS := d.nowS
			if ok, why := d.l.Acknowledge("", "", true, &d.rec); !ok {
				t.Fatal(why)
			}
			for n := 1; n <= 3; n++ {
				if got := d.soundsAfter(fromS); math.Abs(got-60) > 1 {
					t.Errorf("sounds after %v s", got)
				}
				if told := d.events(record.Escalated); told != n/3 || d.alarm(0).Escalated != (n == 3) || int(d.alarm(0).Silences) != n {
					t.Errorf("told %d times after silence %d; %+v", told, n, d.alarm(0))
				}
				if n == 3 {
					text := d.rec.Events[d.rec.NumEvents-1].Text
					if strings.Contains(text, "the machine shuts down in order") != escalates || d.l.ShutDown() != escalates {
						t.Errorf("%q", text)
					}
				}
				fromS = d.nowS
				if ok, why := d.l.Silence("", &d.rec); ok != (n < 3) || !ok && !strings.Contains(why, "x has been silenced 3 times") {
					t.Errorf("silence after %d: %v, %q", n, ok, why)
				}
			}
			for range 1000 {
				if d.scan(0.5); d.events(record.Escalated) > 0 || !d.rec.Alarms.Horn {
					t.Fatal("told twice, or quiet")
				}
			}
			if d.put(0, alarm.Gone); d.l.ShutDown() {
				t.Error("asks for a shut-down though the condition has gone")
			}
		}
	}
}

// An alarm of high or critical priority that nobody acknowledges for four
// minutes while it is there is told of once as ignored; one that was taken on,
// has gone, is only latched, or is less urgent, is not.
func TestNobodyAcknowledges(t *testing.T) {
	for _, c := range []struct {
		name string
		p    record.Priority
		do   func(*desk)
		want bool
	}{
		{"critical", record.PriorityCritical, func(*desk) {}, true},
		{"high", record.PriorityHigh, func(*desk) {}, true},
		{"silenced is not acknowledged", record.PriorityHigh, func(d *desk) { d.l.Silence("Ada", &d.rec) }, true},
		{"acknowledged from afar", record.PriorityHigh, func(d *desk) { d.l.Acknowledge("", "Ada", false, &d.rec) }, false},
		{"gone", record.PriorityHigh, func(d *desk) { d.put(0, alarm.Gone) }, false},
		{"latched and gone", record.PriorityHigh, func(d *desk) { d.now[0].Latched = true; d.put(0, alarm.Gone) }, false},
		{"medium", record.PriorityMedium, func(*desk) {}, false},
	} {
		d := newDesk(alarm.Row{ID: "x", Text: "X is so.", Priority: c.p, Escalates: true})
		d.put(0, alarm.Present)
		fromS, told, atS := d.nowS, 0, 0.0
		c.do(d)
		for d.nowS < fromS+600 {
			if d.scan(0.5); d.events(record.Escalated) > 0 {
				told++
				atS = d.nowS - fromS
			}
		}
		want := 0
		if c.want {
			want = 1
		}
		if told != want || d.l.ShutDown() != c.want || c.want && atS != 240 {
			t.Errorf("%s: told %d times, after %v s, shut-down %v", c.name, told, atS, d.l.ShutDown())
		}
	}
}

func TestSilenceOfNothing(t *testing.T) {
	d := newDesk(row(record.PriorityHigh), row(record.PriorityHigh))
	if ok, why := d.l.Silence("Ada", &d.rec); ok || why != "no alarm sounds" {
		t.Errorf("%v, %q", ok, why)
	}
	d.put(0, alarm.Present)
	d.l.Silence("Ada", &d.rec)
	if d.rec.Events[0].Kind != record.Silenced || d.rec.Events[0].Text != "silenced for 60 s by Ada, 1 of 3" {
		t.Errorf("%+v", d.rec.Events[0])
	}
	if ok, _ := d.l.Silence("Ada", &d.rec); ok || d.alarm(0).Silences > 1 {
		t.Error("silenced twice")
	}
	if d.l.Acknowledge("", "", true, &d.rec); d.alarm(0).Silences > 1 {
		t.Error("acknowledging what is silenced uses up a silence")
	}
	d.put(1, alarm.Present)
	if !d.rec.Alarms.Horn {
		t.Error("another alarm is silenced with the first")
	}
	d.l.Silence("Ada", &d.rec)
	if d.scan(0.5); d.alarm(0).Silences != 1 || d.alarm(1).Silences != 1 {
		t.Errorf("silences %d and %d", d.alarm(0).Silences, d.alarm(1).Silences)
	}
}

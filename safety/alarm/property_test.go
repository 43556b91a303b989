package alarm_test

import (
	"testing"

	"pgregory.net/rapid"

	"drumwright/io/record"
	"drumwright/safety/alarm"
)

// Whatever comes, goes, is acknowledged, silenced and reset in whatever order:
// what is there or latched is in the list, only a command acknowledges, the
// first of a group stays marked, and flood and horn are as a plain count of all
// that came says.
func TestNeverLost(t *testing.T) { rapid.Check(t, neverLost) }

func FuzzNeverLost(f *testing.F) { f.Fuzz(rapid.MakeFuzz(neverLost)) }

func neverLost(t *rapid.T) {
	rows := make([]alarm.Row, rapid.IntRange(1, 14).Draw(t, "rows"))
	latching := make([]bool, len(rows))
	for i := range rows {
		latching[i] = rapid.Bool().Draw(t, "latching")
		rows[i] = alarm.Row{ID: string(rune('a' + i)), Priority: record.Priority(rapid.IntRange(0, 3).Draw(t, "priority")), Group: uint8(rapid.IntRange(0, 2).Draw(t, "group"))}
	}
	d := newDesk(rows...)
	present := make([]bool, len(rows))
	heardS := make([]float64, len(rows)) // when it was last silenced or acknowledged
	var cameS []float64
	flood := false
	for range rapid.IntRange(1, 60).Draw(t, "scans") {
		was := d.rec.Alarms
		told := make([]bool, len(rows)) // acknowledged or reset in this scan
		switch op := rapid.IntRange(0, 9).Draw(t, "op"); op {
		case 0, 1:
			cause := ""
			if op == 1 {
				cause = rows[rapid.IntRange(0, len(rows)-1).Draw(t, "which")].ID
			}
			d.l.Acknowledge(cause, "Ada", rapid.Bool().Draw(t, "local"), &d.rec)
			for i := range rows {
				if cause == "" || rows[i].ID == cause {
					told[i], heardS[i] = true, d.nowS
				}
			}
		case 2:
			d.l.Silence("Ada", &d.rec)
			if d.l.Horn() {
				for i := range rows { // what still sounds is spent
					if was.List[i].Silences < 3 {
						heardS[i] = d.nowS
					}
				}
			} else {
				for i := range rows {
					heardS[i] = d.nowS
				}
			}
		case 3:
			for i := range rows {
				if d.now[i].Latched && !present[i] {
					d.l.Lift(i, "Ada", &d.rec)
					d.now[i].Latched, told[i] = false, true
				}
			}
		}
		d.nowS += rapid.SampledFrom([]float64{0, 0.5, 0.5, 10, 30, 59.5, 60, 300}).Draw(t, "dt")
		came := 0
		for i := range rows {
			seen := alarm.Seen(rapid.SampledFrom([]int{0, 1, 1, 1, 2}).Draw(t, "seen"))
			now := seen == alarm.Present || seen == alarm.Unsure && present[i]
			if now && !present[i] {
				came++
				cameS, heardS[i] = append(cameS, d.nowS), -1
				d.now[i].Latched = latching[i]
			}
			present[i], d.now[i].Seen = now, seen
		}
		d.scan(0)

		in := 0
		for _, s := range cameS {
			if d.nowS-s < 600 {
				in++
			}
		}
		if flood = in >= 10 || flood && in >= 5; flood != d.rec.Alarms.Flood {
			t.Fatalf("flood %v with %d alarms in ten minutes", d.rec.Alarms.Flood, in)
		}
		if int(d.rec.Alarms.Activations) != len(cameS) {
			t.Fatalf("%d activations, want %d", d.rec.Alarms.Activations, len(cameS))
		}
		firsts, open := [3]int{}, [3]bool{}
		for i := range rows {
			a, b := &was.List[i], d.alarm(i)
			if (present[i] || d.now[i].Latched) != b.State.Stands() {
				t.Fatalf("%s: there %v, latched %v, but %s", a.ID, present[i], d.now[i].Latched, b.State)
			}
			if a.State.Unacknowledged() && !b.State.Unacknowledged() && !told[i] {
				t.Fatalf("%s went from %s to %s by itself", a.ID, a.State, b.State)
			}
			if b.Silences > 3 || b.Escalated && b.Silences < 3 && d.nowS-b.RaisedS < 240 {
				t.Fatalf("%+v", b)
			}
			if b.FirstOut {
				firsts[rows[i].Group]++
			}
			open[rows[i].Group] = open[rows[i].Group] || b.State != record.AlarmNormal
			if must := b.State.Stands() && b.State.Unacknowledged() && b.Priority >= record.PriorityMedium && (heardS[i] < 0 || d.nowS-heardS[i] >= 60); must && !d.rec.Alarms.Horn {
				t.Fatalf("the horn is quiet: %+v", b)
			}
		}
		for g := 1; g < 3; g++ {
			if want := map[bool]int{true: 1}[open[g]]; firsts[g] != want {
				t.Fatalf("%d first alarms in group %d, open %v", firsts[g], g, open[g])
			}
		}
		if firsts[0] != 0 {
			t.Fatal("a first alarm without a group")
		}
	}
}

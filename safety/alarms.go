package safety

import "drumwright/safety/alarm"

// tripGroup is the first-out group of all that trips: each trip takes the heat
// away, and what follows from that must not hide what came first.
const tripGroup = 1

// newAlarms makes the alarm list of a table; latched are rows that were latched
// before a restart, the first cause first.
func newAlarms(table []Row, latched []int) *alarm.List {
	rows := make([]alarm.Row, len(table))
	for i := range table {
		r := &table[i]
		rows[i] = alarm.Row{ID: r.ID, Text: r.Cause, Priority: r.Priority, Escalates: r.State == S0 || r.State == S1}
		if !r.Warn {
			rows[i].Group = tripGroup
		}
	}
	return alarm.New(rows, latched)
}

// Alarms is the alarm list, for acknowledging and silencing.
func (g *Gate) Alarms() *alarm.List { return g.alarms }

// observed is what the scan has shown of each row, for the alarm list. A trip
// has gone when nothing but the latch is left that would stop a reset; it is
// there again when it would have tripped again.
func (g *Gate) observed() []alarm.Condition {
	for i := range g.table {
		r, c, f := &g.table[i], &g.conditions[i], g.found[i]
		c.Seen, c.Latched = alarm.Gone, g.latch[i]
		switch {
		case g.warned[i]:
			c.Seen = alarm.Present
		case !g.latch[i]:
		case g.stands[i] >= r.AfterS+g.v.PeriodS-1e-9:
			if now := r.signal(g, &g.v); now.active {
				f = now
			}
			c.Seen = alarm.Present
		case g.standing(i) != "":
			c.Seen = alarm.Unsure
		}
		c.Value, c.Limit, c.Unit = f.value, f.limit, f.unit
	}
	return g.conditions
}

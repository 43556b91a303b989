package safety

import (
	"strings"

	"drumwright/io/point"
	"drumwright/io/record"
)

// Reset lifts the latches whose cause is gone. It is refused, with the reason,
// before the inputs have been judged once, while any latched cause still
// stands or cannot be seen, when it does not come from the machine itself, or
// when a finding needs a name and none is given. The first cause is forgotten
// only when all latches are lifted.
//
// What drum, blower or fan must do counts as gone while they are not told to
// run: it is looked at again when they are.
func (g *Gate) Reset(who string, local bool, rec *record.Scan) (bool, string) {
	who = strings.TrimSpace(who)
	if why := g.RefusesReset(who, local); why != "" {
		return false, why
	}
	text := "reset at the machine"
	if who != "" {
		text = "reset by " + who
	}
	for i := range g.table {
		if g.latch[i] {
			text += "; " + g.table[i].ID
			g.latch[i], g.stands[i], g.found[i] = false, 0, finding{}
			g.alarms.Lift(i, who, rec)
		}
	}
	g.first, g.state, g.fresh = -1, S0, false
	rec.Add(record.Event{Kind: record.Reset, Name: "reset", Text: text})
	return true, text
}

// RefusesReset says why Reset would be refused now, "" when it would be done.
func (g *Gate) RefusesReset(who string, local bool) string {
	switch {
	case !g.Tripped():
		return "nothing is tripped"
	case !local:
		return "a trip is reset at the machine only: at its own panel, over its local socket or by its button"
	case !g.begun:
		return "no input has been read since the start: try again"
	}
	for i := range g.table {
		if !g.latch[i] {
			continue
		}
		if why := g.standing(i); why != "" {
			return g.refusal.of(&g.table[i], why)
		}
		if why := g.flaring(i); why != "" {
			return g.refusal.of(&g.table[i], why)
		}
		if g.table[i].Class == WithFinding && who == "" {
			return "this trip is reset by a named person who has looked: give your name. " + g.table[i].Cause
		}
	}
	return ""
}

// refusal is the last reason why a reset was refused: it is asked for again and
// again while a trip stands, and a scan makes no texts anew.
type refusal struct{ id, why, text string }

func (f *refusal) of(r *Row, why string) string {
	if f.id != r.ID || f.why != why {
		*f = refusal{r.ID, why, why + ". " + r.Cause + " " + r.Action}
	}
	return f.text
}

// standing says why a latched row cannot be reset, "" when it can.
func (g *Gate) standing(i int) string {
	r := &g.table[i]
	if !g.covered[i] || r.Class == LookFirst {
		return ""
	}
	if (r.Arm == DrumOn || r.Arm == BlowerOn || r.Arm == FanOn) && !g.isArmed(r.Arm) {
		return ""
	}
	switch f := r.signal(g, &g.v); {
	case f.active:
		return "the cause still stands"
	case f.unknown:
		return "the cause cannot be seen to be gone"
	case g.stands[i] > 0:
		return "the cause was there a moment ago"
	}
	return ""
}

// Latched lists the causes that are latched, for storage: the first cause first,
// the others in table order.
func (g *Gate) Latched() []string {
	var ids []string
	if g.first >= 0 {
		ids = append(ids, g.table[g.first].ID)
	}
	for i := range g.table {
		if g.latch[i] && i != g.first {
			ids = append(ids, g.table[i].ID)
		}
	}
	return ids
}

// State is the safe state in force.
func (g *Gate) State() SafeState { return g.state }

// First is the row of the first cause of the standing trip, nil when none.
func (g *Gate) First() *Row {
	if g.first < 0 {
		return nil
	}
	return &g.table[g.first]
}

// ShaftRPM is the drum speed that the gate sees, rpm; 0 = not known.
func (g *Gate) ShaftRPM(img *point.Image) float64 { return g.measuredRPM(img) }

// NumLatched counts the latched causes.
func (g *Gate) NumLatched() int {
	n := 0
	for _, l := range g.latch {
		if l {
			n++
		}
	}
	return n
}

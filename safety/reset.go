package safety

import (
	"drumwright/io/point"
	"drumwright/io/record"
)

// Reset lifts the latches whose cause is gone. It is refused, with the reason,
// while any latched cause still stands, when it does not come from the machine
// itself, or when a finding needs a name and none is given. The first cause is
// forgotten only when all latches are lifted.
func (g *Gate) Reset(who string, local bool, rec *record.Scan) (bool, string) {
	if !g.Tripped() {
		return false, "nothing is tripped"
	}
	if !local {
		return false, "a trip is reset at the machine only: at its own panel, over its local socket or by its button"
	}
	for i := range g.table {
		if !g.latch[i] {
			continue
		}
		if g.begun && g.armed[i] && g.table[i].signal(g, &g.v).active {
			return false, "the cause still stands: " + g.table[i].ID + ": " + g.table[i].Cause + " " + g.table[i].Action
		}
		if g.table[i].Class == WithFinding && who == "" {
			return false, g.table[i].ID + " is reset by a named person who has looked: give your name"
		}
	}
	text := "reset by " + who
	for i := range g.table {
		if g.latch[i] {
			text += "; " + g.table[i].ID
			g.latch[i], g.stands[i], g.found[i] = false, 0, finding{}
		}
	}
	g.first, g.acked, g.state = -1, true, S0
	rec.Add(record.Event{Kind: record.Reset, Name: "reset", Text: text})
	return true, text
}

// Silence acknowledges standing trips: the horn stops, nothing else changes.
func (g *Gate) Silence() { g.acked = true }

// Latched lists the causes that are latched, in table order, for storage.
func (g *Gate) Latched() []string {
	var ids []string
	for i := range g.table {
		if g.latch[i] {
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

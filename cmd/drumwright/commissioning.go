package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"drumwright/cmd/drumwright/internal/wiring"
	"drumwright/io/journal"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Where an item of commissioning stands.
const (
	itemMeasured = "measured"
	itemGuessed  = "guessed"
	itemOverdue  = "overdue"
	itemFailed   = "failed"
	itemChanged  = "changed since" // wired otherwise than when it was walked
)

// commissionItem is one thing that commissioning measures.
type commissionItem struct {
	name   string
	kind   string
	needed bool // before beans are heated
	state  string
	last   *record.Commissioned // nil = never
}

// commissionState says of each item of a machine where it stands. The last record
// of an item counts. A record of a simulated machine counts for nothing.
func commissionState(m *profiles.Machine, kept []record.Commissioned, now time.Time) []commissionItem {
	items := []commissionItem{{name: record.KindWiring, kind: record.KindWiring, needed: true}}
	for _, i := range [...]point.Input{point.Bean, point.Bean2, point.InletAir, point.DrumSkin, point.Exhaust} {
		if m.HasIn[i] {
			items = append(items, commissionItem{name: i.String(), kind: record.KindCalibration, needed: i != point.Exhaust})
		}
	}
	items = append(items, commissionItem{name: itemDrum, kind: record.KindCalibration, needed: true}, commissionItem{name: itemFlow, kind: record.KindCalibration, needed: true},
		commissionItem{name: itemAir, kind: record.KindCalibration}, commissionItem{name: itemRadiant, kind: record.KindCalibration})
	hash := wiring.Hash(m)
	for k := range items {
		x := &items[k]
		for i := range kept {
			c := &kept[i]
			if c.Kind == x.kind && (c.Item == x.name || x.kind == record.KindWiring) && !c.Simulated {
				x.last = c
			}
		}
		switch {
		case x.last == nil:
			x.state = itemGuessed
		case x.last.Result != record.ProofPass:
			x.state = itemFailed
		case x.kind == record.KindWiring && x.last.Wiring != hash:
			x.state = itemChanged
		default:
			x.state = itemMeasured
			if until, ends := x.last.Until(); ends && now.After(until) {
				x.state = itemOverdue
			}
		}
	}
	return items
}

// commissionLacks names what is still to be done before beans are heated, "" for
// nothing. What is overdue was measured once: check says so, and it holds up
// nothing.
func commissionLacks(items []commissionItem) string {
	var missing []string
	for _, x := range items {
		if x.needed && x.state != itemMeasured && x.state != itemOverdue {
			missing = append(missing, fmt.Sprintf("%s (%s)", x.name, x.state))
		}
	}
	if len(missing) == 0 {
		return ""
	}
	return "commissioning is not done: " + strings.Join(missing, ", ") + ". Run: drumwright wiring, drumwright calibrate"
}

// benchOf says why commissioning is not asked for, "" if it is.
func benchOf(m *profiles.Machine, simulated bool) string {
	switch b := m.Commissioning.Bench; {
	case simulated || m.Simulation.TimeScale > 1:
		return "the machine is simulated"
	case b != nil:
		return fmt.Sprintf("%s answers for it: %s", b.Who, b.Why)
	}
	return ""
}

// commissionStore reads the findings; the journal does.
type commissionStore interface {
	Commissioned(context.Context) ([]record.Commissioned, error)
}

// uncommissioned looks what is lacking now.
func uncommissioned(m *profiles.Machine, store commissionStore) func(context.Context) string {
	return func(ctx context.Context) string {
		kept, err := store.Commissioned(ctx)
		if err != nil {
			return "the records of commissioning cannot be read: " + err.Error()
		}
		return commissionLacks(commissionState(m, kept, time.Now()))
	}
}

// describeCommissioning says what is measured and what is guessed, by the journal
// as it is now.
func describeCommissioning(w io.Writer, m *profiles.Machine) {
	kept, note := fromJournal(m, (*journal.Reader).Commissioned)
	fmt.Fprintf(w, "\nCommissioning%s\n", note)
	items := commissionState(m, kept, time.Now())
	for _, state := range [...]string{itemFailed, itemChanged, itemOverdue, itemGuessed, itemMeasured} {
		var names []string
		for _, x := range items {
			if x.state != state {
				continue
			}
			name := x.name
			if x.last != nil {
				name += " " + x.last.When.Local().Format(time.DateOnly) + " by " + x.last.Who
				if until, ends := x.last.Until(); ends {
					name += ", until " + until.Local().Format(time.DateOnly)
				}
				if x.last.Uncertainty.Known() {
					name += fmt.Sprintf(", ± %.2g %s", float64(x.last.Uncertainty), x.last.Unit)
				}
			}
			names = append(names, name)
		}
		if len(names) > 0 {
			printWrapped(w, "  ", state+": "+strings.Join(names, "; "))
		}
	}
	lacks, bench := commissionLacks(items), benchOf(m, false)
	switch {
	case bench != "":
		printWrapped(w, "  ", "not asked for before beans are heated: "+bench)
	case lacks != "":
		printWrapped(w, "  ", "no beans are heated: "+lacks)
	}
}

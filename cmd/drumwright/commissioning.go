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
	itemDue      = "due"     // ceased to count, within its grace
	itemPutOff   = "put off" // by a named person, for some days
	itemOverdue  = "overdue"
	itemFailed   = "failed"
	itemNotHeld  = "not in the file" // measured, but the machine file says otherwise
	itemChanged  = "changed since"   // wired otherwise than when it was walked
)

// graceDays is how long after the day until which it counts a finding does not yet
// hold up a roast (common practice, no source).
const graceDays = 30

// clockSkew is how far after now a record may be dated before its date is not
// believed: a clock that once ran ahead makes nothing good for ever.
const clockSkew = time.Hour

// isAhead reports whether a record is dated after now.
func isAhead(c *record.Commissioned, now time.Time) bool { return c.When.After(now.Add(clockSkew)) }

// itemSchedule is what a cold trial finds.
const itemSchedule = "drum_schedule"

// commissionItem is one thing that commissioning measures.
type commissionItem struct {
	name   string
	kind   string
	needed bool // before beans are heated
	state  string
	last   *record.Commissioned // nil = never
	putOff *record.Commissioned // in state itemPutOff: who, why and until when
	ahead  bool                 // in state itemDue: its date is not believed
	apart  string               // in state itemNotHeld: what was found and what the file has
}

// stands reports whether the item lets beans be heated.
func (x *commissionItem) stands() bool {
	return x.state == itemMeasured || x.state == itemDue || x.state == itemPutOff
}

// commissionState says of each item of a machine where it stands, in the order in
// which a shop goes through them. The last record of an item counts. Unless the
// machine itself is simulated, a record of a simulated machine counts for nothing.
func commissionState(m *profiles.Machine, kept []record.Commissioned, simulated bool, now time.Time) []commissionItem {
	items := []commissionItem{{name: record.KindWiring, kind: record.KindWiring, needed: true}}
	for _, i := range [...]point.Input{point.Bean, point.Bean2, point.InletAir, point.DrumSkin, point.Exhaust} {
		if m.HasIn[i] {
			items = append(items, commissionItem{name: i.String(), kind: record.KindCalibration, needed: i != point.Exhaust})
		}
	}
	items = append(items, commissionItem{name: itemDrum, kind: record.KindCalibration, needed: true}, commissionItem{name: itemFlow, kind: record.KindCalibration, needed: true},
		commissionItem{name: itemAir, kind: record.KindCalibration}, commissionItem{name: itemRadiant, kind: record.KindCalibration},
		commissionItem{name: itemSchedule, kind: record.KindTrial})
	hash := wiring.Hash(m)
	for k := range items {
		x := &items[k]
		for i := range kept {
			c := &kept[i]
			if c.Simulated && !simulated || c.Item != x.name && x.kind != record.KindWiring {
				continue
			}
			switch c.Kind {
			case x.kind:
				x.last = c
			case record.KindPutOff:
				if until, _ := c.Until(); c.Item == x.name && now.Before(until) && !isAhead(c, now) {
					x.putOff = c
				}
			}
		}
		x.judge(m, hash, now)
	}
	return items
}

// judge says where an item stands.
func (x *commissionItem) judge(m *profiles.Machine, hash string, now time.Time) {
	switch {
	case x.last == nil:
		x.state = itemGuessed
		return
	case x.last.Result != record.ProofPass:
		x.state = itemFailed
		return
	case x.kind == record.KindWiring && x.last.Wiring != hash:
		x.state = itemChanged
		return
	}
	if x.apart, _ = notHeld(m, x.last); x.apart != "" {
		x.state = itemNotHeld
		return
	}
	until, ends := x.last.Until()
	switch {
	case ends && isAhead(x.last, now):
		x.state, x.ahead = itemDue, true
	case !ends || now.Before(until):
		x.state = itemMeasured
	case now.Before(until.AddDate(0, 0, graceDays)):
		x.state = itemDue
	case x.putOff != nil:
		x.state = itemPutOff
	default:
		x.state = itemOverdue
	}
}

// played reports whether the machine is a simulated one: nothing else runs faster
// than life. What is found on it is marked so, and counts for it alone.
func played(m *profiles.Machine) bool { return m.Simulation.TimeScale > 1 }

// lifelike is how long a time at the machine lasts for who stands beside it.
func lifelike(m *profiles.Machine, d time.Duration) time.Duration {
	return time.Duration(float64(d) / max(1, m.Simulation.TimeScale))
}

// commissionLacks names what is still to be done before beans are heated, "" for
// nothing.
func commissionLacks(items []commissionItem) string {
	var missing []string
	for i := range items {
		if x := &items[i]; x.needed && !x.stands() {
			missing = append(missing, fmt.Sprintf("%s (%s)", x.name, x.state))
		}
	}
	if len(missing) == 0 {
		return ""
	}
	return "commissioning is not done: " + strings.Join(missing, ", ")
}

// benchOf says why commissioning is not asked for, "" if it is. word is what a
// named person has said on the command line, "NAME: REASON".
func benchOf(word string, simulated bool) (string, error) {
	who, why, _ := strings.Cut(word, ":")
	who, why = strings.TrimSpace(who), strings.TrimSpace(why)
	switch {
	case word != "" && (who == "" || why == ""):
		return "", fmt.Errorf("--bench %q: write \"NAME: REASON\"; the person named answers for it", word)
	case simulated:
		return "the machine is simulated", nil
	case word != "":
		return fmt.Sprintf("%s answers for it: %s", who, why), nil
	}
	return "", nil
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
		if lacks := commissionLacks(commissionState(m, kept, played(m), time.Now())); lacks != "" {
			return lacks + ". What comes next: drumwright check MACHINE"
		}
		return ""
	}
}

// describeCommissioning says what is measured and what is guessed, by the journal
// as it is now, and what to do next.
func describeCommissioning(w io.Writer, m *profiles.Machine) {
	kept, note := fromJournal(m, (*journal.Reader).Commissioned)
	fmt.Fprintf(w, "\nCommissioning%s\n", note)
	items := commissionState(m, kept, played(m), time.Now())
	printItems(w, items)
	if lacks := commissionLacks(items); lacks != "" {
		printWrapped(w, "  ", "no beans are heated: "+lacks)
	}
	printWrapped(w, "  ", "next: "+nextStep(m, items))
}

func printItems(w io.Writer, items []commissionItem) {
	for _, state := range [...]string{itemFailed, itemChanged, itemNotHeld, itemOverdue, itemPutOff, itemDue, itemGuessed, itemMeasured} {
		var names []string
		for i := range items {
			if items[i].state == state {
				names = append(names, items[i].text())
			}
		}
		if len(names) > 0 {
			printWrapped(w, "  ", state+": "+strings.Join(names, "; "))
		}
	}
}

// standing is an item for the page.
func (x *commissionItem) standing(m *profiles.Machine) record.CommissionStanding {
	v := record.CommissionStanding{Item: x.name, Needed: x.needed, Stands: x.stands(), State: x.state, Uncertainty: record.Unknown, Remark: x.remark(), How: x.command(m)}
	if x.last != nil {
		v.When, v.Who, v.Uncertainty, v.Unit = &x.last.When, x.last.Who, x.last.Uncertainty, x.last.Unit
		if until, ends := x.last.Until(); ends {
			v.Until = &until
		}
	}
	return v
}

// remark is what is odd about an item, "" for nothing.
func (x *commissionItem) remark() string {
	switch x.state {
	case itemNotHeld:
		return x.apart
	case itemPutOff:
		until, _ := x.putOff.Until()
		return fmt.Sprintf("put off until %s by %s: %s", until.Local().Format(time.DateOnly), x.putOff.Who, x.putOff.Method)
	case itemDue:
		if x.ahead {
			return "dated after today: check the clock"
		}
		until, _ := x.last.Until()
		return "beans are kept out from " + until.AddDate(0, 0, graceDays).Local().Format(time.DateOnly) + " on"
	}
	return ""
}

// text is an item with what was found of it.
func (x *commissionItem) text() string {
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
	if r := x.remark(); x.state == itemNotHeld {
		name += ": " + r
	} else if r != "" {
		name += ", " + r
	}
	return name
}

// nextStep is what to do next, as a command where there is one: first what beans
// wait for, in the order of the list, then the rest.
func nextStep(m *profiles.Machine, items []commissionItem) string {
	for _, needed := range [...]bool{true, false} {
		for i := range items {
			if x := &items[i]; x.needed == needed && (!x.stands() || x.state == itemDue) {
				return x.command(m)
			}
		}
	}
	return "drumwright prove --who NAME, for what is due of the proof tests below"
}

// command is what measures an item.
func (x *commissionItem) command(m *profiles.Machine) string {
	calibrate := "drumwright calibrate " + m.File + " " + x.name
	if x.state == itemNotHeld && x.kind == record.KindCalibration {
		return calibrate + ", which puts into the file what was found; then start the daemon anew"
	}
	calibrate += " --who NAME "
	switch x.name {
	case record.KindWiring:
		return "drumwright find " + m.File + ", who answers on each bus; then drumwright wiring " + m.File + " --who NAME; with the daemon stopped, the machine cold and empty"
	case itemDrum:
		return calibrate + "--turns HZ=TURNS/SECONDS, at two frequencies; turn it with drumwright trial, or from the drive's own panel"
	case itemFlow:
		return calibrate + "--at HZ=FLOW±U, at two blower frequencies or more"
	case itemAir, itemRadiant:
		return calibrate + "--volts V±U --amps A±U, at full power; or --meter WH±U/SECONDS"
	case itemSchedule:
		if x.state == itemNotHeld {
			return "drumwright trial " + m.File + " --from FILE, the file of the trial, which puts its schedule into the machine file"
		}
		return "drumwright trial " + m.File + " --who NAME --beans WHICH --out FILE, cold, at the glass"
	}
	return calibrate + "--read ice --read boil --altitude M, with the daemon stopped"
}

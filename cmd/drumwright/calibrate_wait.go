package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"drumwright/cmd/drumwright/internal/wiring"
	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/profiles"
)

// longestWait is for how long one word can put off a calibration, days.
const longestWait = 30

// wait keeps the word of a person that an overdue calibration may wait.
func (o *calibrateOptions) wait(m *profiles.Machine, item string, w io.Writer) error {
	why := strings.TrimSpace(o.why)
	if o.putOff < 1 || o.putOff > longestWait || why == "" {
		return exitError{codeInput, fmt.Errorf("--put-off %d --why %q: allowed are 1 to %d days, with a reason", o.putOff, o.why, longestWait)}
	}
	kept, _ := fromJournal(m, (*journal.Reader).Commissioned)
	items := commissionState(m, kept, o.simulate || played(m), time.Now())
	k := slices.IndexFunc(items, func(x commissionItem) bool { return x.name == item && x.kind == record.KindCalibration })
	if k < 0 || items[k].state != itemOverdue && items[k].state != itemPutOff && items[k].state != itemDue {
		return exitError{codeInput, fmt.Errorf("item %q: only a calibration that was made and is due or overdue can wait", item)}
	}
	c := record.Commissioned{Kind: record.KindPutOff, Item: item, Who: o.who, When: time.Now(), Method: why, Value: record.Unknown, Uncertainty: record.Unknown,
		ValidDays: o.putOff, Result: record.ProofPass, Wiring: wiring.Hash(m), Body: "{}", MachineHash: m.Hash, Version: versionText(), Simulated: o.simulate || played(m)}
	if err := keepCommissioned(m.Telemetry.Journal, []record.Commissioned{c}); err != nil {
		return err
	}
	until, _ := c.Until()
	fmt.Fprintf(w, "%s is put off until %s, %s answers for it: %s\n", item, until.Local().Format(time.DateOnly), o.who, why)
	return nil
}

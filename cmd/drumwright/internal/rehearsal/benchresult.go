package rehearsal

import (
	"fmt"

	"drumwright/io/record"
)

// result is what the person and the machine's truth make of the test.
func (b *bench) result() *BenchResult {
	r := &BenchResult{MeasuredS: record.Unknown, FromFaultS: record.Unknown}
	if b.over != "" {
		r.Seen = b.over
		return r
	}
	if b.test.Kind == record.ProofWatch {
		f := b.meter.Finding()
		r.Seen, r.MeasuredS, r.Pass = f.Seen, f.MeasuredS, f.Pass && f.Void == ""
		if f.Void != "" {
			r.Seen = f.Void
		}
		return r
	}
	r.Seen = fmt.Sprintf("trip %s, safe state %s", b.tripped, b.state)
	right := true
	if b.meter != nil {
		f := b.meter.Finding()
		right = f.Pass && f.Void == ""
		if !right {
			r.Seen = f.Seen + f.Void
		}
	}
	offS := max(b.lastHeatS, b.deedS)
	if b.deed.freezeS > 0 {
		offS = b.openedS
		if b.openedS == 0 {
			right, r.Seen = false, "the contactor did not open"
		}
	}
	r.FromFaultS = record.Number(offS - b.deedS)
	r.MeasuredS = record.Number(max(0, offS-b.onsetS))
	if b.deed.do == nil && b.deed.freezeS == 0 {
		r.FromFaultS = r.MeasuredS
	}
	switch {
	case b.test.Heat == "off":
		r.Seen += "; heat was off before"
		r.MeasuredS, r.FromFaultS = record.Unknown, record.Unknown
	case b.test.LimitS.Known() && r.MeasuredS > b.test.LimitS+1e-6:
		right = false
	}
	if b.heatAgain {
		right = false
		r.Seen += "; heat came back after the fault went or the trip was reset"
	} else {
		r.Seen += "; no heat after the reset"
	}
	if b.restless {
		right = false
		r.Seen += "; the drum turned when the stop was released"
	}
	r.Pass = right
	return r
}

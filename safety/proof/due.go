package proof

import (
	"fmt"
	"time"

	"drumwright/io/record"
)

// Due says where each test stands, in the order of the tests. records are in
// the order in which they were kept; the last of a test counts, whatever its
// date, because a clock can be wrong and the order of keeping cannot. Records of
// simulated machines are passed over. Dates are taken in the zone of now: a test
// is due from the beginning of the day its interval ends.
func Due(tests []record.ProofTest, records []record.Proof, now time.Time) []record.ProofStanding {
	last := make(map[string]*record.Proof, len(tests))
	for i := range records {
		if r := &records[i]; !r.Simulated {
			last[r.Test] = r
		}
	}
	out := make([]record.ProofStanding, len(tests))
	for i := range tests {
		out[i] = stand(&tests[i], last[tests[i].ID], now)
	}
	return out
}

// skew is how far after now a record may be dated before its date is not
// believed.
const skew = time.Hour

func stand(t *record.ProofTest, last *record.Proof, now time.Time) record.ProofStanding {
	s := record.ProofStanding{ProofTest: *t, State: record.ProofOK}
	if last != nil {
		kept := *last
		s.Last = &kept
	}
	switch {
	case len(t.Lacking) > 0:
		s.State = record.ProofImpossible
		return s
	case last == nil:
		s.State = record.ProofNever
		return s
	}
	failed := last.Result != record.ProofPass
	if t.EveryDays > 0 {
		due := midnight(last.When.In(now.Location()).AddDate(0, 0, t.EveryDays))
		blocks := due.AddDate(0, 0, t.GraceDays)
		s.DueAt, s.BlocksFrom = &due, &blocks
		switch {
		case last.When.After(now.Add(skew)):
			s.State, s.Remark = record.ProofDue, "the last record is dated after today: check the clock"
		case !now.Before(blocks):
			s.State = record.ProofOverdue
		case !now.Before(due):
			s.State = record.ProofDue
		}
	}
	if failed {
		s.State = record.ProofFailed
	}
	return s
}

func midnight(t time.Time) time.Time {
	y, m, d := t.Date()
	return time.Date(y, m, d, 0, 0, 0, 0, t.Location())
}

// Blocks says why no new roast may start: tests that failed or are overdue
// beyond their grace, with requireAll also those that were never done. It is
// empty when nothing stands in the way.
func Blocks(standings []record.ProofStanding, requireAll bool) []string {
	why := []string{}
	for i := range standings {
		s := &standings[i]
		switch {
		case s.State == record.ProofFailed:
			why = append(why, fmt.Sprintf("the proof test %s failed on %s: put it right and repeat it", s.ID, s.Last.When.Format(time.DateOnly)))
		case s.State == record.ProofOverdue:
			why = append(why, fmt.Sprintf("the proof test %s was due on %s and its %d days of grace are over", s.ID, s.DueAt.Format(time.DateOnly), s.GraceDays))
		case s.State == record.ProofNever && requireAll:
			why = append(why, fmt.Sprintf("the proof test %s was never done", s.ID))
		}
	}
	return why
}

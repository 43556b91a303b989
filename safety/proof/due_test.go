package proof

import (
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"drumwright/io/record"
)

func at(text string) time.Time {
	t, err := time.Parse("2006-01-02 15:04", text)
	if err != nil {
		panic(err)
	}
	return t
}

// Dates by the calendar; the intervals and the grace are those given here.
func TestDue(t *testing.T) {
	weekly := record.ProofTest{ID: "weekly", EveryDays: 7, GraceDays: 7}
	daily := record.ProofTest{ID: "daily", EveryDays: 1, GraceDays: 30}
	once := record.ProofTest{ID: "once", GraceDays: 30}
	lacking := record.ProofTest{ID: "lacking", EveryDays: 1, Lacking: []string{"fire_button"}}
	did := func(when, result string) record.Proof {
		return record.Proof{When: at(when), Result: result}
	}
	simulated := did("2031-03-10 08:00", "pass")
	simulated.Simulated = true
	for _, c := range []struct {
		name    string
		test    record.ProofTest
		records []record.Proof
		now     string
		state   string
		blocks  bool // without requireAll
		all     bool // with it
	}{
		{"never", weekly, nil, "2031-03-14 09:00", record.ProofNever, false, true},
		{"simulated only", weekly, []record.Proof{simulated}, "2031-03-14 09:00", record.ProofNever, false, true},
		{"fresh", weekly, []record.Proof{did("2031-03-10 08:00", "pass")}, "2031-03-16 23:59", record.ProofOK, false, false},
		{"due from the morning of the day", weekly, []record.Proof{did("2031-03-10 08:00", "pass")}, "2031-03-17 00:00", record.ProofDue, false, false},
		{"last minute of grace", weekly, []record.Proof{did("2031-03-10 08:00", "pass")}, "2031-03-23 23:59", record.ProofDue, false, false},
		{"beyond grace", weekly, []record.Proof{did("2031-03-10 08:00", "pass")}, "2031-03-24 00:00", record.ProofOverdue, true, true},
		{"the same day", daily, []record.Proof{did("2031-03-10 08:00", "pass")}, "2031-03-10 23:00", record.ProofOK, false, false},
		{"the next morning", daily, []record.Proof{did("2031-03-10 20:00", "pass")}, "2031-03-11 07:00", record.ProofDue, false, false},
		{"thirty days of grace", daily, []record.Proof{did("2031-03-10 20:00", "pass")}, "2031-04-09 23:59", record.ProofDue, false, false},
		{"thirty-one", daily, []record.Proof{did("2031-03-10 20:00", "pass")}, "2031-04-10 00:00", record.ProofOverdue, true, true},
		{"across the end of February", weekly, []record.Proof{did("2031-02-25 20:00", "pass")}, "2031-03-04 00:00", record.ProofDue, false, false},
		{"failed", weekly, []record.Proof{did("2031-03-10 08:00", "fail")}, "2031-03-10 09:00", record.ProofFailed, true, true},
		{"failed, then passed", weekly, []record.Proof{did("2031-03-10 08:00", "fail"), did("2031-03-10 10:00", "pass")}, "2031-03-10 11:00", record.ProofOK, false, false},
		{"the last kept counts, not the last dated", weekly, []record.Proof{did("2031-03-10 10:00", "pass"), did("2031-03-10 08:00", "fail")}, "2031-03-10 11:00", record.ProofFailed, true, true},
		{"dated after today", weekly, []record.Proof{did("2031-03-10 08:00", "pass")}, "1970-01-01 00:00", record.ProofDue, false, false},
		{"on its occasion only", once, []record.Proof{did("2011-03-10 08:00", "pass")}, "2031-03-10 11:00", record.ProofOK, false, false},
		{"on its occasion, never done", once, nil, "2031-03-10 11:00", record.ProofNever, false, true},
		{"not possible", lacking, nil, "2031-03-10 11:00", record.ProofImpossible, false, false},
		{"of another test", weekly, []record.Proof{{Test: "other", When: at("2031-03-10 08:00"), Result: "pass"}}, "2031-03-10 11:00", record.ProofNever, false, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			for i := range c.records {
				if c.records[i].Test == "" {
					c.records[i].Test = c.test.ID
				}
			}
			s := Due([]record.ProofTest{c.test}, c.records, at(c.now))
			if s[0].State != c.state {
				t.Errorf("%s, want %s", s[0].State, c.state)
			}
			if got := Blocks(s, false); len(got) > 0 != c.blocks {
				t.Errorf("blocks by %q, want %v", got, c.blocks)
			}
			if got := Blocks(s, true); len(got) > 0 != c.all {
				t.Errorf("requiring all, blocks by %q, want %v", got, c.all)
			}
			for _, why := range Blocks(s, true) {
				if !strings.Contains(why, c.test.ID) {
					t.Errorf("%q does not name the test", why)
				}
			}
		})
	}
}

// With time alone a standing goes from ok to due to overdue and never back, and
// the day begins in the zone of now.
func TestDueOnlyWorsensWithTime(t *testing.T) {
	worse := map[string]int{record.ProofOK: 0, record.ProofDue: 1, record.ProofOverdue: 2}
	rapid.Check(t, func(t *rapid.T) {
		zone := time.FixedZone("", rapid.IntRange(-12, 14).Draw(t, "zone")*3600)
		test := record.ProofTest{ID: "x", EveryDays: rapid.IntRange(1, 400).Draw(t, "every"), GraceDays: rapid.IntRange(0, 40).Draw(t, "grace")}
		did := time.Unix(rapid.Int64Range(0, 4e9).Draw(t, "did"), 0)
		a := rapid.Int64Range(0, 500*86400).Draw(t, "a")
		b := a + rapid.Int64Range(0, 500*86400).Draw(t, "more")
		at := func(s int64) record.ProofStanding {
			return Due([]record.ProofTest{test}, []record.Proof{{Test: "x", When: did, Result: "pass"}}, did.Add(time.Duration(s)*time.Second).In(zone))[0]
		}
		x, y := at(a), at(b)
		if worse[x.State] > worse[y.State] {
			t.Fatalf("%s after %d s, %s after %d s", x.State, a, y.State, b)
		}
		if h, m, s := x.DueAt.Clock(); h+m+s != 0 {
			t.Fatalf("due at %v", x.DueAt)
		}
		if days := x.DueAt.Sub(did).Hours() / 24; days > float64(test.EveryDays) || days < float64(test.EveryDays)-1 {
			t.Fatalf("due after %.2f days, every %d", days, test.EveryDays)
		}
	})
}

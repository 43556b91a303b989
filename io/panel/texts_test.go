package panel_test

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"drumwright/io/access"
	"drumwright/io/panel"
	"drumwright/io/peertest"
	"drumwright/io/record"
)

// bad is a text that somebody has written in the place of what: were it taken for
// more than a text anywhere, there would be an element, and the title of the page
// would say so.
func bad(what string) string {
	return fmt.Sprintf(`</td></script><img src=x alt=%q onerror="document.title='broken in'"><b>&lt;`, what)
}

// scrawler is a shop in which every text is a bad one.
type scrawler struct{}

func (scrawler) Machine() record.MachineView {
	m := teller{}.Machine()
	m.Name, m.Site, m.Note, m.Version = bad("machine"), bad("site"), bad("machine note"), bad("version")
	m.NotCovered, m.Exceptions = []string{bad("not covered")}, []string{bad("exception")}
	m.FirePlan = record.FirePlanView{Number: bad("number"), Address: bad("address"), Meeting: bad("meeting"), Own: bad("own")}
	return m
}

func (scrawler) Matrix() record.Matrix {
	return record.Matrix{Columns: []string{bad("column")}, Rows: [][]string{{bad("cell")}}}
}

func (scrawler) Commissioning(context.Context) (record.CommissionBook, error) {
	when := time.Date(2026, 11, 20, 9, 0, 0, 0, time.UTC)
	return record.CommissionBook{Items: []record.CommissionStanding{{Item: bad("item"), When: &when, State: bad("item state"), Who: bad("measured by"), Unit: bad("item unit"), Uncertainty: 1, Remark: bad("item remark"), How: bad("how")}},
		Lacks: bad("lacks"), NotAsked: bad("not asked"), Next: bad("next")}, nil
}

func (scrawler) Recipes() ([]record.RecipeRow, error) {
	return []record.RecipeRow{{Name: "plain", Title: bad("title"), Coffee: bad("coffee"), GreenKg: 1, Drop: bad("drop")}}, nil
}

func (scrawler) Recipe(name string) (record.RecipeView, error) {
	v, err := teller{}.Recipe("plain")
	v.Title, v.Coffee, v.Note, v.Drop, v.Text = bad("title"), bad("coffee"), bad("recipe note"), bad("drop"), bad("recipe text")
	if name == "faulty" {
		v.Faults = bad("faults")
	}
	v.Advice, v.Understood, v.Stages[0].When = []string{bad("advice")}, []string{bad("understood")}, bad("stage")
	return v, err
}

func (scrawler) Batches(context.Context, record.Search) ([]record.KeptBatch, error) {
	d, err := scrawler{}.Batch(context.Background(), 41)
	return []record.KeptBatch{d.KeptBatch}, err
}

func (scrawler) Batch(context.Context, uint64) (record.KeptDetail, error) {
	e := func(field, item string) record.Entry {
		return record.Entry{Field: field, Item: item, When: time.Now(), Who: bad("who entered"), Before: bad(field + " before"), After: bad(field)}
	}
	return record.KeptDetail{KeptBatch: record.KeptBatch{ID: 41, Result: record.BatchDone, Recipe: bad("recipe"), GreenKg: 1, DropS: 600, DropC: 208, TurnS: 90, TurnC: 80, FirstCrackS: 500, CupTotal: 85, Lot: bad("lot"), Tags: []string{bad("tag")}},
		Entries: []record.Entry{e("lot", ""), e("note", "1"), e("cup", "total"), e("cup_comments", ""), e("tag", bad("tag item"))},
		Samples: []record.KeptSample{}, Events: []record.KeptEvent{{Kind: "note", Name: "x", Text: bad("event")}}}, nil
}
func (scrawler) SaveEntry(e record.Entry) (record.Entry, error) {
	return e, fmt.Errorf("%w: %s", record.ErrEntry, bad("refused"))
}
func (scrawler) Alarms(context.Context, int) ([]record.KeptAlarm, error) {
	return []record.KeptAlarm{{KeptEvent: record.KeptEvent{Kind: bad("kind"), Name: bad("cause"), Text: bad("alarm text")}}}, nil
}

func (scrawler) Proofs(context.Context) (record.ProofBook, error) {
	p := record.Proof{Who: bad("prover"), Result: bad("result"), When: time.Now()}
	return record.ProofBook{Tests: []record.ProofStanding{{ProofTest: record.ProofTest{ID: "x", Title: bad("test"), Occasion: bad("occasion")}, State: bad("standing"), Last: &p}}, Blocking: []string{bad("blocking")}}, nil
}
func (scrawler) Prove(_ context.Context, p record.Proof) (record.Proof, error) { return p, nil }
func (scrawler) BeginProving(string) time.Time                                 { return time.Now() }

func (scrawler) NextBatch() record.GreenAhead {
	return record.GreenAhead{Recipe: "plain", Lot: bad("next lot"), Who: bad("next who"), ChargeG: 820}
}
func (scrawler) SayNextBatch(n record.GreenAhead) (record.GreenAhead, error) { return n, nil }

func (scrawler) Check(string, []byte) record.RecipeCheck {
	return record.RecipeCheck{Faults: bad("lint fault"), Advice: []string{bad("lint advice")}, Understood: []string{bad("lint understood")}}
}
func (scrawler) Save(string, []byte, string, string) (record.RecipeCheck, error) {
	return record.RecipeCheck{}, record.ErrRecipe
}
func (scrawler) Versions(string) ([]record.RecipeVersion, error) {
	return []record.RecipeVersion{{Hash: strings.Repeat("0", 64), Who: bad("version by"), When: time.Now()}}, nil
}
func (scrawler) Version(string) ([]byte, error) { return []byte(bad("version text")), nil }
func (scrawler) Draft(*record.KeptDetail, string) ([]byte, error) {
	return []byte(bad("draft")), nil
}

func (scrawler) Audit(record.Audit) {}
func (scrawler) Audits(_ context.Context, want record.AuditSearch) ([]record.Audit, error) {
	list := []record.Audit{}
	for n := uint64(130); n > 0 && len(list) < want.Limit; n-- {
		if want.Before == 0 || n < want.Before {
			list = append(list, record.Audit{N: n, When: time.Now(), Who: bad("auditee"), Source: bad("source"), Action: bad("action"), Detail: bad("detail"), Reason: bad("reason"), Accepted: !want.Refused && n%2 == 0})
		}
	}
	return list, nil
}

// Do refuses whatever is asked.
func (scrawler) Do(context.Context, record.Command) record.Answer {
	return record.Answer{Reason: bad("refusal")}
}

// Asked and the rest: one account, whose name has not been through the command that
// makes accounts, and whose session everybody has.
func (scrawler) Asked() bool { return true }
func (scrawler) SignIn(context.Context, string, string, string, bool) (string, access.Account, error) {
	return "", access.Account{}, access.ErrWrong
}
func (scrawler) Session(string, bool) (access.Account, bool) {
	return access.Account{Name: bad("account"), Role: record.RoleEngineer}, true
}
func (scrawler) SignOut(string) {}

// Whatever a person, a file or a sender has written, each page that shows it shows
// it as the text it is: no element comes of it, and nothing of it runs.
func TestEveryTextStaysText(t *testing.T) {
	peertest.OnceIsEnough(t)
	x := scrawler{}
	b := openBrowser(t, func(c *panel.Config) {
		c.Operator, c.Shop, c.Batches, c.History, c.Proofs, c.Next, c.Folder, c.Audit, c.Accounts = x, x, x, x, x, x, x, x, x
		c.Preflight = func(string) (json.RawMessage, error) {
			return json.Marshal(map[string]any{"reachable": false, "why": []string{bad("why")}, "limits": []map[string]any{{"from_s": 1, "to_s": 2, "what": bad("limit")}}})
		}
	})
	b.change(func(s *record.Scan) {
		s.Batch.Recipe = bad("loaded")
		for i := range s.Alarms.Num {
			if a := &s.Alarms.List[i]; a.State != record.AlarmNormal {
				a.Text, a.AckedBy, a.State = bad("alarm"), bad("acknowledged by"), record.AlarmAcknowledged
			}
		}
	})
	b.until(shown)
	look := func(page string, wants ...string) {
		t.Helper()
		for _, what := range wants {
			b.until(fmt.Sprintf(`document.body.textContent.includes(%q) || [...document.querySelectorAll('input,textarea')].some(f => f.value.includes(%q))`, bad(what), bad(what)))
		}
		if n := b.js(`String(document.querySelectorAll('body img, body b, main script, td > td').length)`); n != "0" {
			t.Errorf("%s: a text has made %s elements", page, n)
		}
		if got := b.js(`document.title`); strings.Contains(got, "broken in") {
			t.Errorf("%s: a text has run", page)
		}
	}
	to := func(hash string) {
		b.js(fmt.Sprintf(`location.hash = %q`, hash))
		b.until(`document.querySelector('main h1')`)
	}
	look("now", "machine", "loaded", "alarm", "acknowledged by", "account")
	to("#recipes")
	look("recipes", "title", "coffee", "drop")
	to("#recipes/plain")
	look("recipe", "title", "recipe note", "recipe text", "advice", "understood", "stage", "why", "limit")
	b.until(fmt.Sprintf(`document.querySelector('.answer')?.textContent.includes(%q) || ([...document.querySelectorAll('button')].find(e => e.textContent.includes('Load for next batch'))?.click(), false)`, bad("refusal"))) // what has just moved heeds no finger
	look("refused command", "refusal")
	b.do(chromedp.Click(`//summary[text()='History']`, chromedp.BySearch))
	look("versions", "version by")
	to("#recipes/faulty")
	look("faulty recipe", "faults")
	to("#recipes/+41")
	look("editor", "draft", "lint fault", "lint advice", "lint understood")
	to("#batches")
	look("batches", "recipe", "lot", "tag")
	to("#batches/41")
	look("batch", "who entered", "lot before", "note", "cup_comments", "tag item", "event")
	to("#machine")
	look("machine", "site", "machine note", "version", "not covered", "exception", "test", "standing", "prover", "result", "blocking",
		"item", "item state", "measured by", "item unit", "item remark", "how", "lacks", "not asked", "next")
	b.js(`[...document.querySelectorAll('button')].find(x => x.textContent.startsWith('Show what trips')).click()`)
	look("matrix", "column", "cell")
	to("#machine/audit")
	look("audit", "auditee", "source", "action", "detail", "reason")
	b.js(fmt.Sprintf(`localStorage.setItem('who', %q)`, bad("typed name")))
	look("top line", "typed name")
	to("#alarms")
	look("alarms", "alarm", "acknowledged by", "kind", "cause", "alarm text")
	b.change(func(s *record.Scan) {
		s.State, s.Safety = "tripped", record.Safety{Tripped: true, SafeState: "S2", SafeStateName: "suspected fire", First: "fire_called"}
	})
	look("fire", "number", "address", "meeting", "own")
}

package journal

import (
	"context"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/ncruces/go-sqlite3"

	"drumwright/io/record"
)

func aProof(test string) record.Proof {
	return record.Proof{Test: test, Who: "Ada", When: time.Date(2031, 3, 14, 9, 26, 53, 125e6, time.UTC), Expected: "heat off", Seen: "heat off",
		MeasuredS: 0.1, LimitS: record.Unknown, Result: record.ProofPass, Note: "quiet", MachineHash: "ab", Version: "1"}
}

// What is kept comes back as it was, in order, also from another reader; null
// stays null; a correction is a further row.
func TestProofsAreKept(t *testing.T) {
	path := file(t)
	s := open(t, path, Config{})
	a, b := aProof("drum-stall"), aProof("drum-stall")
	b.MeasuredS, b.LimitS, b.Result, b.Simulated = record.Unknown, 3.2, record.ProofFail, true
	b.When = a.When.Add(-time.Hour) // the clock was set back
	for i, p := range []*record.Proof{&a, &b} {
		kept, err := s.SaveProof(*p)
		if err != nil || kept.N != uint64(i+1) {
			t.Fatalf("%+v, %v", kept, err)
		}
		p.N = kept.N
	}
	r, err := OpenReader(path)
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	got, err := r.Proofs(context.Background())
	if err != nil || len(got) != 2 {
		t.Fatalf("%+v, %v", got, err)
	}
	for i, want := range []record.Proof{a, b} {
		g := got[i]
		if g.MeasuredS.Known() != want.MeasuredS.Known() || g.LimitS.Known() != want.LimitS.Known() {
			t.Errorf("%+v, want %+v", g, want)
		}
		for _, n := range []*record.Number{&g.MeasuredS, &g.LimitS, &want.MeasuredS, &want.LimitS} {
			if !n.Known() {
				*n = -1 // unknown equals nothing, not even itself
			}
		}
		if !reflect.DeepEqual(g, want) {
			t.Errorf("%+v, want %+v", g, want)
		}
	}
}

func TestProofsAreOnlyAddedTo(t *testing.T) {
	s := still(t, 1)
	if err := s.conn.Exec(`INSERT INTO proofs (test, who, at, expected, seen, result, note, machine_hash, version, simulated)
		VALUES ('a', 'Ada', '2031-03-14T09:26:53Z', '', '', 'fail', '', '', '', 0)`); err != nil {
		t.Fatal(err)
	}
	for _, q := range []string{`UPDATE proofs SET result = 'pass'`, `DELETE FROM proofs`, `DELETE FROM proofs WHERE id = 1`,
		`INSERT INTO proofs (id, test, who, at, expected, seen, result, note, machine_hash, version, simulated)
		VALUES (1, 'a', 'Ada', '', '', '', 'pass', '', '', '', 0) ON CONFLICT DO UPDATE SET result = 'pass'`} {
		if err := s.conn.Exec(q); err == nil || !strings.Contains(err.Error(), "only added to") {
			t.Errorf("%s: %v", q, err)
		}
	}
	if got, _ := text(s.conn, `SELECT group_concat(result) FROM proofs`); got != "fail" {
		t.Errorf("now %q", got)
	}
}

// A proof that makes no sense is refused by the database too, and told.
func TestSenselessProofs(t *testing.T) {
	s := open(t, file(t), Config{})
	for _, edit := range []func(*record.Proof){
		func(p *record.Proof) { p.Test = "" }, func(p *record.Proof) { p.Who = "" }, func(p *record.Proof) { p.Result = "maybe" },
	} {
		p := aProof("a")
		edit(&p)
		if kept, err := s.SaveProof(p); err == nil {
			t.Errorf("%+v is kept", kept)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := s.SaveProof(aProof("a")); err == nil || !strings.Contains(err.Error(), "closed") {
		t.Errorf("after closing: %v", err)
	}
}

// A journal of the first version is brought up to date and keeps what it has.
func TestMigrateFromTheFirstVersion(t *testing.T) {
	path := file(t)
	c, err := sqlite3.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := c.Exec(`CREATE TABLE meta (key TEXT PRIMARY KEY, value TEXT NOT NULL) STRICT; INSERT INTO meta VALUES ('schema_version', '1');` + schema1 +
		`; INSERT INTO latches VALUES ('latched causes', 'drum_stall', '2031-03-14T09:26:53Z')`); err != nil {
		t.Fatal(err)
	}
	if err := c.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := OpenReader(path); err == nil || !strings.Contains(err.Error(), "start the daemon once") {
		t.Errorf("a reader opens it: %v", err)
	}
	s := open(t, path, Config{})
	if l, err := s.Latches(context.Background()); err != nil || l["latched causes"] != "drum_stall" {
		t.Errorf("%v, %v", l, err)
	}
	if _, err := s.SaveProof(aProof("a")); err != nil {
		t.Error(err)
	}
}

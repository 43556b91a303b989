package journal

import (
	"context"
	"strings"
	"testing"
	"time"

	"drumwright/io/record"
)

func TestAudit(t *testing.T) {
	ctx, path := context.Background(), file(t)
	s := open(t, path, Config{})
	at := time.Date(2031, 3, 14, 9, 0, 0, 0, time.UTC)
	first := record.Audit{When: at, Account: "ada", Role: "operate", Who: "Ada", Source: "127.0.0.1", Local: true, Action: "warm", Detail: `{"kind":"warm"}`, Accepted: true, Reason: "done"}
	second := record.Audit{When: at.Add(time.Hour), Source: "192.0.2.7", Action: "reset", Reason: "at the machine only"}
	s.Audit(first)
	s.Audit(second)
	settle(t, s)
	third := record.Audit{When: at.Add(2 * time.Hour), Who: "root", Source: "command line", Local: true, Action: "user add", Detail: "bob, look", Accepted: true}
	if err := AddAudit(path, third); err != nil { // beside the daemon
		t.Fatal(err)
	}
	for _, x := range []struct {
		name string
		want record.AuditSearch
		n    []uint64
	}{
		{"all", record.AuditSearch{}, []uint64{3, 2, 1}},
		{"newest", record.AuditSearch{Limit: 1}, []uint64{3}},
		{"before", record.AuditSearch{Before: 2}, []uint64{1}},
		{"refused", record.AuditSearch{Refused: true}, []uint64{2}},
		{"an hour", record.AuditSearch{From: second.When, To: third.When}, []uint64{2}},
	} {
		list, err := s.Audits(ctx, x.want)
		if err != nil {
			t.Fatal(err)
		}
		var n []uint64
		for _, a := range list {
			n = append(n, a.N)
		}
		if len(n) != len(x.n) || n[0] != x.n[0] {
			t.Errorf("%s: %v, want %v", x.name, n, x.n)
		}
	}
	list, err := s.Audits(ctx, record.AuditSearch{Before: 2})
	if first.N = 1; err != nil || list[0] != first {
		t.Errorf("kept as %+v, %v\nwant %+v", list[0], err, first)
	}
	for _, q := range []string{`UPDATE audit SET accepted = 1`, `DELETE FROM audit`} {
		if err := s.byWriter(func() error { return s.conn.Exec(q) }); err == nil || !strings.Contains(err.Error(), "only added to") {
			t.Errorf("%s: %v", q, err)
		}
	}
}

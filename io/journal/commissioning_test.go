package journal

import (
	"context"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"drumwright/io/record"
)

// What was found comes back as it was kept, and can neither be changed nor
// taken out, also by other programs.
func TestCommissioningIsOnlyAddedTo(t *testing.T) {
	path := filepath.Join(t.TempDir(), "j.db")
	s, err := Open(path, Config{})
	if err != nil {
		t.Fatal(err)
	}
	want := record.Commissioned{Kind: record.KindCalibration, Item: "bean", Who: "Ada", When: time.Date(2026, 3, 1, 9, 30, 0, 0, time.UTC), Method: "ice and boiling water",
		Value: -0.4, Uncertainty: 0.3, Unit: "K", ValidDays: 180, Result: record.ProofPass, Wiring: "w", Body: `{"x":1}`, MachineHash: "h", Version: "v", Simulated: true}
	if err := AddCommissioned(path, []record.Commissioned{want}); err != nil { // while the journal is open for writing
		t.Fatal(err)
	}
	want.N = 1
	list, err := s.Commissioned(context.Background())
	if err != nil || len(list) != 1 || list[0] != want {
		t.Errorf("read back %+v, %v; want %+v", list, err, want)
	}
	for _, bad := range []record.Commissioned{{Kind: "wiring", When: want.When, Result: "pass", Body: "{}"}, {Kind: "wiring", Who: "Ada", When: want.When, Result: "fine", Body: "{}"},
		{Kind: "wiring", Who: "Ada", When: want.When, Result: "pass", Body: "{"}} {
		if err := AddCommissioned(path, []record.Commissioned{want, bad}); err == nil {
			t.Errorf("%+v is kept", bad)
		}
	}
	if list, err := s.Commissioned(context.Background()); err != nil || len(list) != 1 {
		t.Errorf("%d rows after refusals, %v; want 1: all or none", len(list), err)
	}
	for _, change := range []string{`UPDATE commissioning SET who = 'Bob'`, `DELETE FROM commissioning`} {
		err := s.byWriter(func() error { return s.conn.Exec(change) })
		if err == nil || !strings.Contains(err.Error(), "only added to") {
			t.Errorf("%s: %v", change, err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
}

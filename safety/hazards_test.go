package safety_test

import (
	"fmt"
	"testing"

	"drumwright/safety"
)

// Every hazard says what is done about it, every row is there for a hazard, and
// no hazard names a row that is not there.
func TestHazardsAndRowsMeet(t *testing.T) {
	rows := map[string]bool{}
	for _, r := range safety.Rows(fullMachine()) {
		rows[r.ID] = false
	}
	covered, open := 0, 0
	for i := range safety.Hazards {
		h := &safety.Hazards[i]
		if want := fmt.Sprintf("H%02d", i+1); h.ID != want || h.Title == "" {
			t.Errorf("%s stands where %s should", h.ID, want)
		}
		for _, id := range h.Rows {
			if _, ok := rows[id]; !ok {
				t.Errorf("%s names the row %s, which is not there", h.ID, id)
			}
			rows[id] = true
		}
		if h.Covered() {
			covered++
		} else if h.Open == "" {
			t.Errorf("%s is not covered and nothing says why", h.ID)
		}
		if h.Open != "" {
			open++
		}
	}
	for id, named := range rows {
		if !named {
			t.Errorf("the row %s is there for no hazard", id)
		}
	}
	t.Logf("%d of %d hazards covered, %d of them or beside them in part open", covered, len(safety.Hazards), open)
}

package safety_test

import (
	"fmt"
	"testing"

	"drumwright/io/peertest"
	"drumwright/safety"
)

// Rank when several causes act: emergency stop, fire, drum, air, the rest,
// the room's alarm, restart (estimate, common practice, no source).
var ranked = []string{"S6", "S2", "S3", "S4", "S1", "S5", "S7"}

func higher(a, b string) string {
	for _, s := range ranked {
		if s == a || s == b {
			return s
		}
	}
	return ""
}

func TestPairsTakeTheHigherState(t *testing.T) {
	peertest.OnceIsEnough(t)
	m := fullMachine()
	var all []safety.Row
	for _, row := range safety.Rows(m) {
		if !row.Warn {
			all = append(all, row)
		}
	}
	for _, a := range all {
		for _, b := range all {
			if got, want := safety.NewGate(m, []string{a.ID, b.ID}).State().Code(), higher(a.State.Code(), b.State.Code()); got != want {
				t.Errorf("%s and %s: %s, want %s", a.ID, b.ID, got, want)
			}
		}
	}
	stateOf := map[string]string{}
	for _, row := range all {
		stateOf[row.ID] = row.State.Code()
	}
	for i, a := range faults {
		for _, b := range faults[:i] {
			if !a.live || !b.live {
				continue
			}
			t.Run(fmt.Sprint(a.id, "+", b.id), func(t *testing.T) {
				r := newRig(t, m)
				r.roast()
				a.on(r)
				b.on(r)
				stopped := false
				for range 130 {
					r.scan()
					state := ""
					for _, id := range r.g.Latched() {
						state = higher(state, stateOf[id])
					}
					if state == "" {
						continue
					}
					stopped = stopped || state == "S3" || state == "S6"
					drumHz := columns[state].drumHz
					if stopped {
						drumHz = 0 // what has been stopped is not started by another trip
					}
					r.checkColumns(state, drumHz)
				}
				if !r.latched(a.id) && !r.latched(b.id) {
					t.Error("neither has tripped")
				}
			})
		}
	}
}

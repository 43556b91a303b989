package assess

import (
	"fmt"
	"strings"
)

// heldBack holds batches against a goal that a limit of inlet air or heater may
// keep them from. Such a one is named with the share of its time at the limit; that
// excuses it only where it kept the goal in all of the time that no limit bears on.
type heldBack struct {
	n, within       int
	excused, missed []string
}

func (h *heldBack) add(name string, whole bool, f *Figures, goalC float64) {
	h.n++
	named := fmt.Sprintf("%s %.2f °C, at a limit for %.0f %%", name, f.RmsC, 100*f.LimitedShare)
	switch {
	case whole && f.RmsC <= goalC:
		h.within++
	case whole && f.LimitedShare > 0 && f.FreeRmsC <= goalC:
		h.excused = append(h.excused, named)
	default:
		h.missed = append(h.missed, named)
	}
}

func (h *heldBack) goal(text string, goalC float64, must bool) Goal {
	got := fmt.Sprintf("%d of %d in reach", h.within, h.n)
	if len(h.excused) > 0 {
		got += "; held back by a limit: " + strings.Join(h.excused, "; ")
	}
	if len(h.missed) > 0 {
		got += "; missed: " + strings.Join(h.missed, "; ")
	}
	return Goal{Text: fmt.Sprintf("%s: rms at most %.1f °C, or the time at a limit accounts for what is more", text, goalC), Got: got, Kept: len(h.missed) == 0, Must: must}
}

package assess

import (
	"regexp"
	"testing"

	"drumwright/io/peertest"
)

// A light batch whose curve ends with air that is hardly hotter than the beans
// brings bean and exhaust together by right, and a bed that exchanges badly, with
// a probe that is not as told, makes the balance of the air a poor witness. Both
// are ordinary batches: nothing may break them off. The mixes are those that came
// nearest to it.
func TestOrdinaryBatchesAreNotBrokenOff(t *testing.T) {
	peertest.OnceIsEnough(t)
	sizes, err := Standard()
	if err != nil {
		t.Fatal(err)
	}
	worst := regexp.MustCompile(`^(heron-1000 C corner mass -20 heat \+20 mains -10 room 35 water 13 lag -40` +
		`|lark-250 C corner mass -20 heat \+20 mains \+6 room 5 water 9 lag \+40` +
		`|lark-250 C corner mass -20 heat -20 mains \+6 room 35 water 13 lag -40` +
		`|lark-250 C corner mass -20 heat \+20 mains \+6 room 35 water 13 lag \+40)$`)
	cells := Only(Grid(sizes, false), worst)
	if len(cells) != 4 {
		t.Fatalf("%d cells instead of 4", len(cells))
	}
	for i := range cells {
		c := &cells[i]
		t.Run(c.Size.Name+" "+c.Name, func(t *testing.T) {
			t.Parallel()
			tr, err := roast(c, false, nil)
			if err != nil {
				t.Fatal(err)
			}
			if tr.brokenOffBy != "" {
				t.Errorf("broken off by %s", tr.brokenOffBy)
			}
		})
	}
}

package control

import "testing"

// First crack is to be listened for when the foresight says so: learned late, the
// text comes later than the usual temperature would have it, and it stays.
func TestListensWhenCrackIsForeseen(t *testing.T) {
	g := newRig(t, nil)
	c := g.core
	c.observing, c.estimate.BeanC = true, crackNearC+5
	for _, f := range []struct {
		dueS, sdS, t float64
		want         bool
	}{{600, 5, 560, false}, {600, 5, 571, true}, {640, 5, 575, true}} {
		c.roast.running, c.roast.chargeAtS, c.nowS = true, 0, f.t
		if c.crackDueS, c.crackDueSdS = f.dueS, f.sdS; c.crackNear() != f.want {
			t.Errorf("due at %.0f s, at %.0f s: %v", f.dueS, f.t, !f.want)
		}
	}
	c.roast.listen = false
	if c.crackDueS, c.nowS = 600, 520; c.crackNear() {
		t.Error("80 s ahead, sure to 5 s")
	}
	if c.crackDueSdS = 45; c.crackNear() {
		t.Error("an unsure foresight is listened for more than a minute ahead")
	}
	if c.crackDueS = 0; !c.crackNear() {
		t.Error("nothing foreseen, beans near the usual temperature")
	}
}

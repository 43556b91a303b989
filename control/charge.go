package control

import (
	"math"

	"drumwright/control/beanloop"
	"drumwright/control/learn"
	"drumwright/io/point"
	"drumwright/profiles"
)

// plungeSpanS is the time within which the bean probe must fall by the
// machine's plunge to mean charge.
const plungeSpanS = 5.0

// A small charge falls too slowly for that where the probe is slow. In a machine
// that is ready, whose temperatures are held, a fall of slowPlunge times as much
// within slowSpanS means charge too: nothing else cools a probe so far, and beans
// that nobody has seen would be heated without their limits (estimates).
const (
	slowPlunge = 2.0
	slowSpanS  = 30.0
)

// chargeWatch sees beans go in by the fall of the bean probe.
type chargeWatch struct {
	plungeK float64
	everyS  float64
	t, v    [64]float64
	n       int
	fell    bool
	beganS  float64 // when the fall began
}

// newChargeWatch looks for a fall within spanS; add may be given more.
func newChargeWatch(plungeK, spanS, periodS float64) chargeWatch {
	return chargeWatch{plungeK: plungeK, everyS: math.Max(periodS, spanS/60)}
}

// add takes one reading and updates fell and beganS. The fall counts over the
// last spanS.
func (w *chargeWatch) add(nowS float64, x point.Value, spanS float64) {
	w.fell = false
	if !x.Usable() {
		return
	}
	for w.n > 0 && nowS-w.t[0] > spanS {
		copy(w.t[:], w.t[1:w.n])
		copy(w.v[:], w.v[1:w.n])
		w.n--
	}
	if w.n == 0 || (nowS-w.t[w.n-1] >= w.everyS-1e-9 && w.n < len(w.t)) {
		w.t[w.n], w.v[w.n] = nowS, x.V
		w.n++
	}
	top := math.Inf(-1)
	for i := range w.n {
		top = math.Max(top, w.v[i])
	}
	if top-x.V < w.plungeK {
		return
	}
	w.fell = true
	for i := w.n - 1; i >= 0; i-- { // the fall began at the last reading near the top
		if w.v[i] > top-1 {
			w.beganS = w.t[i]
			return
		}
	}
}

func (w *chargeWatch) forget() { w.n, w.fell = 0, false }

// Beans that nobody has said, in a drum that is kept warm: their probe falls as it
// does at charge, and stays far below both drum skin and inlet air. Either alone
// comes of itself, the one when a bare probe cools after the drop, the other while
// a cold machine warms (judgement; on the simulated machines a bare probe falls by
// 8 K at most in the time of a plunge, and is never below both when they are warm).
const (
	unsaidColdK  = 30.0
	unsaidHoldS  = 30.0 // for whoever has charged to say so
	unsaidAfterS = 60.0 // from the fall to the cold
)

// unsaid watches for such beans.
type unsaid struct {
	beganS, fellS float64 // scan time of the last fall, and when it began; 0 = none
	coldS         float64
}

// chargeS is when beans went in that are said at nowS, if their probe shows them.
func (u *unsaid) chargeS(nowS float64) float64 {
	if u.coldS > 0 {
		return u.beganS
	}
	return nowS
}

// lateChargeS is how late a charge may be said for what is found in the batch to be
// learned from (judgement: on the simulated machine the probe's lag is then found 6 %
// too long, 15 % at 20 s and 29 % at 25 s, and a learned lag counts as known to 10 %).
const lateChargeS = 15.0

// add takes one scan of a machine that is kept warm and reports whether beans have
// gone in unsaid.
func (u *unsaid) add(nowS, dt float64, w *chargeWatch, beanC, skinC, inletC float64) bool {
	if w.fell {
		if nowS-u.fellS > unsaidAfterS || u.fellS == 0 {
			u.beganS, u.coldS = w.beganS, 0
		}
		u.fellS = nowS
	}
	if u.fellS == 0 || nowS-u.fellS > unsaidAfterS+unsaidHoldS {
		u.coldS = 0
		return false
	}
	if u.coldS += dt; !(beanC < math.Min(skinC, inletC)-unsaidColdK) {
		u.coldS = 0
	}
	return u.coldS >= unsaidHoldS
}

// roast is what is known of the batch at hand.
type roast struct {
	running    bool // from charge until the beans are cool
	certain    bool // the beans are known to be in: a batch with a number
	ended      bool // told for the last time in this scan
	beansIn    bool // in the drum, or may be
	id         uint64
	recipe     *profiles.Recipe
	greenKg    float64        // as weighed, else as the recipe says
	lessons    *learn.Lessons // nil = none
	chargeAtS  float64
	turned     bool
	turnS      float64
	turnC      float64
	lowC       float64
	lowS       float64
	crackS     float64
	listen     bool    // first crack is to be listened for
	dropS      float64 // since charge
	dropC      float64
	dropLoss   float64
	doorSeen   bool
	stage      int // stages begun; the present one is stage-1
	overtime   bool
	reachedS   float64 // since charge: a condition of the drop came true; 0 = not yet
	longerS    float64 // by which the drop is put off
	dropAtC    float64 // bean probe at drop, as a person has changed it; 0 = as the recipe says
	amended    beanloop.Amendment
	addedKPerS float64 // to the plan's rate of rise, by changes of the drop
	called     bool    // the operator was called to drop
	fanDue     bool    // the drop is near: the cooling fan starts
	calledS    float64
	lossWas    float64
	lossPerS   float64 // smoothed
	dropSoon   int     // entry of dropSoon that was told last
}

// turnRiseK is how far the probe must have risen from its lowest reading to
// call that the turning point (common practice, no source).
const turnRiseK = 1.0

// watchTurn follows the probe to its turning point and reports whether it was
// found in this scan.
func (r *roast) watchTurn(sinceS, probeC float64) bool {
	if r.turned || math.IsNaN(probeC) || sinceS < 10 {
		return false
	}
	if r.lowS == 0 || probeC < r.lowC {
		r.lowC, r.lowS = probeC, sinceS
	}
	if probeC < r.lowC+turnRiseK {
		return false
	}
	r.turned, r.turnS, r.turnC = true, r.lowS, r.lowC
	return true
}

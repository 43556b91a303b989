package campaign

import (
	"fmt"
	"slices"
	"strings"

	"drumwright/io/record"
)

// judge decides by the machine's truth, then compares what was said.
func (r *Row) judge(w *watch, at Phase, res *Result) {
	var why []string
	fail := func(format string, a ...any) { why = append(why, fmt.Sprintf(format, a...)) }
	if len(w.trips) > 0 {
		res.Cause, res.SafeState = w.trips[0].cause, w.trips[0].state
	}
	late := func(what string) {
		if res.MeasuredS > res.LimitS+1e-6 {
			fail("%s after %.1f s", what, res.MeasuredS)
		}
	}
	switch r.Want {
	case Trips, HeatEnds:
		r.judgeHeatOff(w, at, res, fail)
		late("heat off")
	case Alarms:
		t, ok := w.tripAt(r.Cause)
		if !ok {
			fail("no alarm of %s; trips %v", strings.Join(r.Cause, " or "), w.trips)
			break
		}
		res.MeasuredS = max(0, t.atS-w.clockS-w.acts[len(w.acts)-1].AfterS)
		res.Cause, res.SafeState = t.cause, t.state
		late("alarm")
	case Warns:
		atS, ok := w.warned[r.Cause[0]]
		if !ok {
			fail("no warning of %s", r.Cause[0])
		}
		res.Cause, res.MeasuredS = r.Cause[0], max(0, atS-w.clockS)
		late("warning")
		if len(w.trips) > 0 {
			fail("tripped by %s", w.trips[0].cause)
		}
	case Refuses:
		r.judgeRefused(w, fail)
	case Bears:
		if len(w.trips) > 0 {
			fail("tripped by %s", w.trips[0].cause)
		}
		if w.wrong > 0 {
			fail("%d readings were not what the device showed", w.wrong)
		}
	}
	if r.Want == Trips || r.Want == Alarms {
		for _, c := range r.Also {
			if _, ok := w.tripAt([]string{c}); !ok {
				fail("%s did not trip", c)
			}
		}
		if len(w.trips) > 0 && r.State != "" && !r.stateSeen(w) {
			fail("safe state %s, want %s", res.SafeState, r.State)
		}
	}
	r.judgeMotion(w, fail)
	if r.Want != Alarms {
		r.judgeBounds(w, fail)
	}
	res.Pass, res.Why = len(why) == 0, strings.Join(why, "; ")
}

func (r *Row) stateSeen(w *watch) bool {
	return slices.ContainsFunc(w.trips, func(t tripped) bool { return t.state == r.State })
}

func (r *Row) judgeHeatOff(w *watch, at Phase, res *Result, fail func(string, ...any)) {
	if (at == Warming || at == Early || at == Mid || at == Late) && w.fromS-w.before > heatBeforeS {
		fail("no heat before the fault: proves nothing")
	}
	res.MeasuredS = max(0, w.heatS-w.clockS)
	if w.crosses && w.clockS == 0 { // the value was never reached: nothing was late
		res.MeasuredS = 0
	}
	if w.end.AirHeaterW > 0 || w.end.RadiantW > 0 {
		fail("heat stays on")
	}
	if w.end.ContactorClosed && r.Want == Trips && !slices.Contains(r.Also, "contactor_stuck") && !slices.Contains(r.Cause, "contactor_stuck") {
		fail("the contactor stays closed")
	}
	switch {
	case r.Want == HeatEnds && len(w.trips) > 0:
		fail("tripped by %s", w.trips[0].cause)
	case r.Want == Trips && len(w.trips) == 0:
		fail("no trip")
	case r.Want == Trips && !slices.Contains(r.Cause, w.trips[0].cause):
		fail("first cause %s, want %s", w.trips[0].cause, strings.Join(r.Cause, " or "))
	}
}

func (r *Row) judgeRefused(w *watch, fail func(string, ...any)) {
	asked := false
	for _, a := range r.By {
		if a.Say == nil || a.Say.Local && (a.Say.Kind == record.LoadRecipe || a.Say.Kind == record.StartWarming) {
			continue // to be refused is not the start, but heat and motion
		}
		asked = true
		if !slices.ContainsFunc(w.answers, func(e record.Event) bool { return e.Kind == record.Rejected && e.Name == string(a.Say.Kind) }) {
			fail("%s was not refused", a.Say.Kind)
		}
	}
	if !asked && w.heatS > w.fromS {
		fail("heat came")
	}
}

func (r *Row) judgeMotion(w *watch, fail func(string, ...any)) {
	flow := w.end.AirKgPerS
	for _, x := range [...]struct {
		what  string
		want  Want
		moves bool
	}{{"drum", r.Drum, w.end.DrumTurning}, {"air", r.Air, flow > movingShare*w.flowBefore()}} {
		switch {
		case x.want == Kept && !x.moves:
			fail("the %s stands", x.what)
		case x.want == Stopped && x.moves:
			fail("the %s moves", x.what)
		}
	}
}

// movingShare is the share of the air before the fault above which it counts as
// moving.
const movingShare = 0.2

func (w *watch) flowBefore() float64 { return w.start.AirKgPerS }

func (r *Row) judgeBounds(w *watch, fail func(string, ...any)) {
	most := func(what string, got, rise, start, most float64) {
		if rise > 0 && got-start > rise {
			fail("%s rose by %.1f K, allowed %.0f", what, got-start, rise)
		}
		if most > 0 && got > most {
			fail("%s reached %.1f °C, allowed %.0f", what, got, most)
		}
	}
	or := func(c, bound float64) float64 {
		if c > 0 {
			return c
		}
		return bound
	}
	most("skin", w.skinOnC, r.SkinRiseK, w.start.SkinHotC, 0)
	most("skin", w.skinC, 0, 0, or(r.SkinC, boundSkinC))
	most("element", w.elementC, r.ElementRiseK, w.start.ElementC, boundElementC)
	most("inlet air", w.inletC, 0, 0, r.InletC)
	if !r.burns() {
		most("bean", w.beanC, r.BeanRiseK, w.start.BeanC, or(r.BeanC, boundBeanC))
	}
}

// burns reports whether the beans give heat of their own, which no switch takes
// away.
func (r *Row) burns() bool {
	return slices.ContainsFunc(r.By, func(a Act) bool { return a.Fault == fire })
}

const fire = "bean_fire"

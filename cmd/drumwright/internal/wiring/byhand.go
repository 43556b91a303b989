package wiring

import (
	"context"
	"fmt"
	"math"

	"drumwright/io/point"
)

// moved reports whether a person moves an input later; others are read at rest,
// and followed while outputs are driven.
func moved(i point.Input) bool {
	return i.Role().Kind == point.Temperature || i == point.DrumPulses || byHand(i) != ""
}

// move has a person move one input after the other.
func (w *Walk) move(ctx context.Context) error {
	for i := range point.NumInputs {
		if !w.m.HasIn[i] {
			continue
		}
		if r := w.found(i.String()); r != nil && r.Verdict == Wrong && r.Fault != Inverted {
			continue // it reads nothing that moving could tell
		}
		var err error
		switch kind := i.Role().Kind; {
		case kind == point.Temperature:
			err = w.warm(ctx, i)
		case i == point.DrumPulses:
			err = w.turn(ctx)
		case kind == point.Contact && byHand(i) != "":
			err = w.press(ctx, i)
		}
		if err != nil {
			return err
		}
	}
	return nil
}

// byHand is how a contact is made to change by a person, "" if it is not.
func byHand(i point.Input) string {
	switch i {
	case point.CoverClosed:
		return "Open the cover or guard."
	case point.EmergencyStopHealthy:
		return "Press the emergency stop."
	case point.HighLimitHealthy:
		return "Turn the independent high limit down below the present temperature, until it trips."
	case point.ChargeGateOpen:
		return "Open the charge gate."
	case point.DischargeDoorOpen:
		return "Open the discharge door."
	case point.ResetButton:
		return "Press and hold the reset button."
	case point.FireButton:
		return "Press and hold the fire button."
	case point.CarbonMonoxideAlarm:
		return "Press and hold the test button of the room's alarm."
	}
	return ""
}

// act has a person do one thing at an input. If it is left out, that is the result,
// and done is false.
func (w *Walk) act(ctx context.Context, i point.Input, r *Result, what string) (done bool, err error) {
	done, err = w.p.Act(ctx, i, false, what)
	if err == nil && !done {
		r.Verdict, r.Seen = NotDone, "left out by the person"
		w.add(*r)
	}
	return done && err == nil, err
}

// restore keeps a result, has the person put the input back and lets it settle.
func (w *Walk) restore(ctx context.Context, i point.Input, r Result, what string, settle float64) error {
	w.add(r)
	if _, err := w.p.Act(ctx, i, true, what); err != nil {
		return err
	}
	return w.look(ctx, settle, nil)
}

// warm has one probe warmed and looks which reading rises.
func (w *Walk) warm(ctx context.Context, i point.Input) error {
	r := Result{Point: i.String(), Asked: "warm this probe"}
	before := w.s.img.In
	if done, err := w.act(ctx, i, &r, fmt.Sprintf("Warm the %s probe (%s) by hand or with warm water, and no other.", i, i.Role().About)); !done {
		return err
	}
	change := func(k point.Input) float64 {
		if !w.m.HasIn[k] || k.Role().Kind != point.Temperature || !before[k].Usable() || !w.s.img.In[k].Usable() {
			return 0
		}
		return w.s.img.In[k].V - before[k].V
	}
	most := i
	if err := w.look(ctx, warmS, func() bool {
		for k := range point.NumInputs {
			if math.Abs(change(k)) > math.Abs(change(most)) {
				most = k
			}
		}
		return math.Abs(change(most)) < warmedK
	}); err != nil {
		return err
	}
	if err := w.look(ctx, settleS, nil); err != nil {
		return err
	}
	own := change(i)
	r.Raw = fmt.Sprintf("%+.1f K", own)
	r.Seen = fmt.Sprintf("%s moved by %+.1f K", i, own)
	r.Verdict = Right
	switch {
	case own <= -warmedK:
		r.fail(Reversed, "the reading falls while the probe is warmed: exchange plus and minus of the thermocouple")
	case own < warmedK && math.Abs(change(most)) >= warmedK:
		r.With = most.String()
		r.Seen += fmt.Sprintf(", %s by %+.1f K", most, change(most))
		r.fail(Exchanged, fmt.Sprintf("the wires or the addresses of %s and %s are exchanged", i, most))
	case own < warmedK:
		r.fail(NoFeedback, "nothing moved: is this the right probe, and is it in the right terminals?")
	default:
		for k := range point.NumInputs {
			if k != i && change(k) > own/2 {
				r.With = k.String()
				r.Seen += fmt.Sprintf(", %s by %+.1f K", k, change(k))
				r.fail(Unsteady, "two readings follow one probe: do both stand at one address?")
			}
		}
	}
	return w.restore(ctx, i, r, "Let it cool again.", settleS)
}

// press has one contact changed and looks which one does.
func (w *Walk) press(ctx context.Context, i point.Input) error {
	if was := w.found(i.String()); was != nil {
		// The rest reading said inverted; the press decides.
		w.drop(i.String())
	}
	r := Result{Point: i.String(), Asked: byHand(i), Verdict: Right}
	before := w.s.img.In
	if done, err := w.act(ctx, i, &r, byHand(i)); !done {
		return err
	}
	other := point.NumInputs
	changed := func(k point.Input) bool {
		return w.m.HasIn[k] && k.Role().Kind == point.Contact && before[k].Usable() && w.s.img.In[k].Usable() && before[k].V != w.s.img.In[k].V
	}
	if err := w.look(ctx, contactS, func() bool {
		for k := range point.NumInputs {
			if k != i && other == point.NumInputs && changed(k) {
				other = k
			}
		}
		return !changed(i) && other == point.NumInputs
	}); err != nil {
		return err
	}
	if err := w.look(ctx, 1, nil); err != nil {
		return err
	}
	words, _ := w.s.words(ctx, &w.m.In[i])
	r.Raw = raw(words)
	r.Seen = fmt.Sprintf("from %s to %s", text(i, before[i]), text(i, w.s.img.In[i]))
	switch {
	case !changed(i) && other < point.NumInputs:
		r.With = other.String()
		r.fail(Exchanged, fmt.Sprintf("%s changed instead: wires or addresses are exchanged", other))
	case !changed(i):
		r.fail(NoFeedback, "nothing changed: check switch, wire, address and bit")
	case before[i].On() != resting(i):
		r.fail(Inverted, fmt.Sprintf("it reads %s where it should read %s: change inverted in the machine file, if a broken wire still reads as the unsafe state", onOff(before[i].On()), onOff(resting(i))))
	case other < point.NumInputs:
		r.With = other.String()
		r.fail(Unsteady, fmt.Sprintf("%s changed as well: do both stand at one address?", other))
	}
	return w.restore(ctx, i, r, "Put it back.", 1)
}

// turn has the drum turned by hand, once round.
func (w *Walk) turn(ctx context.Context) error {
	i := point.DrumPulses
	a := &w.m.In[i]
	r := Result{Point: i.String(), Asked: "one turn of the drum by hand", Verdict: Right}
	first, _ := w.s.words(ctx, a)
	if done, err := w.act(ctx, i, &r, "With the drive isolated, turn the drum by hand exactly once round."); !done {
		return err
	}
	if err := w.look(ctx, settleS, nil); err != nil {
		return err
	}
	last, _ := w.s.words(ctx, a)
	if len(first) < a.Type.Words() || len(last) < a.Type.Words() {
		r.fail(Off, "the counter cannot be read")
		w.add(r)
		return nil
	}
	n := float64(max(1, w.m.Drum.PulsesPerRev))
	counted := (a.Raw(last) - a.Raw(first)) * a.Scale
	r.Raw = raw(first) + " to " + raw(last)
	r.Seen = fmt.Sprintf("%.6g pulses, %.0f expected", counted, n)
	if counted < n-1 || counted > n+1 {
		r.fail(Off, "check sensor, number of pulses in a turn and the layout of the counter")
		if counted == 0 {
			r.Fault = NoFeedback
		}
		was := readings(a, first, 0)
		for _, x := range readings(a, last, 0) {
			for _, y := range was {
				if d := x.value - y.value; x.Order == y.Order && x.Type == y.Type && x.times == 1 && y.times == 1 && d >= n-1 && d <= n+1 {
					r.fail(x.faultOf(a), fmt.Sprintf("it makes sense with order %s, type %s: %.0f pulses", x.Order, x.Type, d))
				}
			}
		}
	}
	return w.restore(ctx, i, r, "", 0)
}

// drop takes back the last result of a point.
func (w *Walk) drop(name string) {
	for k := len(w.record.Results) - 1; k >= 0; k-- {
		if w.record.Results[k].Point == name {
			w.record.Results = append(w.record.Results[:k], w.record.Results[k+1:]...)
			return
		}
	}
}

package wiring

import (
	"context"
	"fmt"
	"math"

	"drumwright/io/point"
	"drumwright/io/sensor"
)

const (
	roomK     = 6.0  // a probe of a cold machine is this close to the room
	cabinetK  = 25.0 // and a cabinet under power at most so much warmer
	warmedK   = 3.0  // a rise by hand that counts
	warmS     = 60.0 // longest wait for it
	settleS   = 3.0  // for others to follow
	contactS  = 15.0 // longest wait for a contact
	restShare = 0.05 // of full scale that a quantity at rest may show
	mainsOff  = 0.15 // by which mains voltage may be off its nominal value
)

// resting is how a contact stands on a cold machine that is shut and healthy.
func resting(i point.Input) bool {
	switch i {
	case point.EmergencyStopHealthy, point.HighLimitHealthy, point.CoverClosed, point.PhasesHealthy, point.SupplyHealthy:
		return true
	}
	return false
}

// span is what a point may read at rest.
func (w *Walk) span(i point.Input) (lo, hi float64) {
	amps := func(watts float64) float64 { return watts / math.Max(1, float64(w.m.Heaters.RatedV)) }
	least := func(full float64) (float64, float64) { return -restShare * full, restShare * full }
	switch {
	case i == point.Cabinet:
		return w.record.RoomC - roomK, w.record.RoomC + cabinetK
	case i.Role().Kind == point.Temperature:
		return w.record.RoomC - roomK, w.record.RoomC + roomK
	case i.Role().Kind == point.Counter:
		return math.Inf(-1), math.Inf(1)
	}
	switch i {
	case point.MainsVoltage:
		v := float64(w.m.Heaters.RatedV)
		return (1 - mainsOff) * v, (1 + mainsOff) * v
	case point.AirHeaterCurrent:
		return least(amps(float64(w.m.Heaters.Air.PowerW)))
	case point.RadiantCurrent:
		return least(amps(float64(w.m.Heaters.Radiant.PowerW)))
	case point.AirFlow:
		return least(2 * float64(w.m.Air.Nominal)) // draught
	case point.DrumCurrent:
		return least(math.Max(1, float64(w.m.Drum.FullA)))
	}
	return -0.01, 0.01
}

// atRest reads every input while nothing moves.
func (w *Walk) atRest(ctx context.Context) error {
	for i := range point.NumInputs {
		if !w.m.HasIn[i] {
			continue
		}
		a := &w.m.In[i]
		words, _ := w.s.words(ctx, a)
		v := w.s.img.In[i]
		r := Result{Point: i.String(), Asked: "read at rest", Raw: raw(words), Seen: text(i, v), Verdict: Right}
		switch i.Role().Kind {
		case point.Contact:
			if i == point.BlowerFault || i == point.DrumFault {
				break
			}
			if v.Usable() && (v.V >= 0.5) != resting(i) {
				r.Verdict, r.Fault = Wrong, Inverted
				r.Suggest = fmt.Sprintf("at rest it should be %s: see that it is really so; if it is, the contact is inverted", onOff(resting(i)))
			}
		case point.Status:
			if v.Usable() && v.V != point.DriveStopped {
				r.fail(Off, "the drive should be stopped: look at it, then at states and mask")
			}
		default:
			lo, hi := w.span(i)
			if v.Usable() && v.V >= lo && v.V <= hi {
				break
			}
			if v.Usable() {
				r.fail(Off, fmt.Sprintf("expected at rest %.4g to %.4g %s", lo, hi, i.Role().Unit))
			}
			w.explain(ctx, &r, i, words, lo, hi)
		}
		if !v.Usable() && r.Verdict == Right {
			r.fail(Off, "it cannot be read: check wire, address and open_codes")
		}
		if r.Verdict != Right || !moved(i) {
			w.add(r)
		}
	}
	return nil
}

// explain looks for another way to read a number that would make sense.
func (w *Walk) explain(ctx context.Context, r *Result, i point.Input, words []uint16, lo, hi float64) {
	a := &w.m.In[i]
	if len(words) < a.Type.Words() {
		return
	}
	junctionC := w.record.RoomC
	if a.Sensor.Thermocouple() {
		j := &w.m.Junction[i]
		if at, _ := w.s.words(ctx, j); len(at) >= j.Type.Words() {
			if v := j.Decode(at); v.Usable() {
				junctionC = v.V
			} else {
				r.fail(Off, fmt.Sprintf("its cold junction reads %.4g °C: check the address and scale of cold_junction", v.V))
				return
			}
		}
	}
	fit := fitting(a, words, junctionC, lo, hi)
	if i.Role().Kind == point.Temperature && a.Sensor == sensor.None {
		if c := (a.Raw(words)*a.Scale + a.Offset - 32) / 1.8; c >= lo && c <= hi {
			r.fail(Scale, fmt.Sprintf("it makes sense as Fahrenheit: %.1f °C", c))
			return
		}
	}
	if len(fit) == 0 {
		r.Verdict, r.Fault = Wrong, Off
		return
	}
	r.fail(fit[0].faultOf(a), "it makes sense with "+fit[0].String())
	switch {
	case a.Sensor == sensor.Pt1000 && fit[0].times == 10:
		r.Suggest += "; or with sensor pt100"
	case a.Sensor == sensor.Pt100 && fit[0].times == 0.1:
		r.Suggest += "; or with sensor pt1000"
	}
	for _, f := range fit[1:min(3, len(fit))] {
		r.Suggest += "; or with " + f.String()
	}
}

// moved reports whether a person moves an input later; others are read at rest,
// and followed while outputs are driven.
func moved(i point.Input) bool {
	return i.Role().Kind == point.Temperature || i == point.DrumPulses || byHand(i) != ""
}

func onOff(on bool) string {
	if on {
		return "on"
	}
	return "off"
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

// warm has one probe warmed and looks which reading rises.
func (w *Walk) warm(ctx context.Context, i point.Input) error {
	r := Result{Point: i.String(), Asked: "warm this probe"}
	before := w.s.img.In
	done, err := w.p.Act(ctx, i, false, fmt.Sprintf("Warm the %s probe (%s) by hand or with warm water, and no other.", i, i.Role().About))
	if err != nil {
		return err
	}
	if !done {
		r.Verdict, r.Seen = NotDone, "left out by the person"
		w.add(r)
		return nil
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
	w.add(r)
	if _, err := w.p.Act(ctx, i, true, "Let it cool again."); err != nil {
		return err
	}
	return w.look(ctx, settleS, nil)
}

// press has one contact changed and looks which one does.
func (w *Walk) press(ctx context.Context, i point.Input) error {
	if was := w.found(i.String()); was != nil {
		// The rest reading said inverted; the press decides.
		w.drop(i.String())
	}
	r := Result{Point: i.String(), Asked: byHand(i), Verdict: Right}
	before := w.s.img.In
	done, err := w.p.Act(ctx, i, false, byHand(i))
	if err != nil {
		return err
	}
	if !done {
		r.Verdict, r.Seen = NotDone, "left out by the person"
		w.add(r)
		return nil
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
	w.add(r)
	if _, err := w.p.Act(ctx, i, true, "Put it back."); err != nil {
		return err
	}
	return w.look(ctx, 1, nil)
}

// turn has the drum turned by hand, once round.
func (w *Walk) turn(ctx context.Context) error {
	i := point.DrumPulses
	a := &w.m.In[i]
	r := Result{Point: i.String(), Asked: "one turn of the drum by hand", Verdict: Right}
	first, _ := w.s.words(ctx, a)
	done, err := w.p.Act(ctx, i, false, "With the drive isolated, turn the drum by hand exactly once round.")
	if err != nil {
		return err
	}
	if !done {
		r.Verdict, r.Seen = NotDone, "left out by the person"
		w.add(r)
		return nil
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
	w.add(r)
	_, err = w.p.Act(ctx, i, true, "")
	return err
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

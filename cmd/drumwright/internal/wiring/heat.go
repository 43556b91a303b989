package wiring

import (
	"context"
	"fmt"
	"math"

	"drumwright/io/point"
)

// tryHeat closes the contactor and gives each heater one small pulse, with drum
// and air running.
func (w *Walk) tryHeat(ctx context.Context) error {
	why := w.blocked(true)
	for i := range point.NumInputs {
		if x := w.s.img.In[i]; why == "" && w.m.HasIn[i] && i.Role().Kind == point.Temperature && x.Usable() && x.V > warmLimitC {
			why = fmt.Sprintf("%s is at %.0f °C: heaters are tried on a cold machine", i, x.V)
		}
	}
	if why != "" {
		for _, o := range [...]point.Output{point.HeatEnable, point.AirHeaterPower, point.RadiantPower, point.Heartbeat} {
			w.left(o, why)
		}
		return nil
	}
	w.p.Say("Drum and blower start, then the contactor closes and each heater gets one pulse of a tenth of its power. Hands out.")
	if err := w.s.hold(ctx, float64(w.m.Batch.HornS), asks{point.Horn: 1}, nil); err != nil {
		return err
	}
	base := asks{point.DrumRun: 1, point.DrumSpeed: math.Max(float64(w.m.Drum.MinHz), float64(w.m.Drum.IdleSpeed)/w.m.SkinMMPerSPerHz()),
		point.BlowerRun: 1, point.BlowerSpeed: w.m.BlowerHz(float64(w.m.Air.Nominal))}
	if err := w.s.hold(ctx, 20, base, func() bool { return !w.s.gate.Tripped() }); err != nil {
		return err
	}
	closed := with(base, asks{point.HeatEnable: 1})
	r := Result{Point: point.HeatEnable.String(), Asked: "contactor closed for 4 s, both heaters at 0", Verdict: Right}
	permitted, seen := false, false
	if err := w.s.hold(ctx, 4, closed, func() bool {
		permitted = w.s.permit.Value(point.HeatEnable) >= 0.5
		seen = w.s.img.In[point.ContactorClosed].On()
		return !w.s.gate.Tripped()
	}); err != nil {
		return err
	}
	r.Seen = fmt.Sprintf("permitted: %t; contactor_closed %s", permitted, onOff(seen))
	switch {
	case !permitted:
		r.Verdict, r.Seen = NotDone, "the gate gives no heat: "+w.s.rec.Safety.HeldBack
		w.trip(&r)
	case w.m.HasIn[point.ContactorClosed] && !seen:
		r.fail(NoFeedback, "the mirror contact did not follow: check coil, watchdog relay and contact")
		w.trip(&r)
	default:
		w.trip(&r)
	}
	if w.m.HasOut[point.HeatEnable] {
		w.add(r)
	}
	if w.m.HasOut[point.Heartbeat] {
		beat := r
		beat.Point, beat.Asked = point.Heartbeat.String(), "the contactor must hold for 4 s"
		w.add(beat)
	}
	for _, o := range [...]point.Output{point.AirHeaterPower, point.RadiantPower} {
		if !w.m.HasOut[o] {
			continue
		}
		if r.Verdict != Right {
			w.left(o, "the contactor was not shown to close")
			continue
		}
		if w.s.gate.Tripped() {
			if err := w.stand(ctx); err != nil {
				return err
			}
			if err := w.s.hold(ctx, 20, base, nil); err != nil {
				return err
			}
		}
		if err := w.pulse(ctx, o, base, closed); err != nil {
			return err
		}
	}
	return nil
}

func with(a, b asks) asks {
	out := asks{}
	for _, m := range [...]asks{a, b} {
		for o, v := range m {
			out[o] = v
		}
	}
	return out
}

// pulse gives one heater a tenth of its power for 5 s, or an on/off heater all of
// it for a tenth of that time, and looks where current and warmth show.
func (w *Walk) pulse(ctx context.Context, o point.Output, base, closed asks) error {
	powerW, own, other, otherW, swapped := float64(w.m.Heaters.Air.PowerW), point.AirHeaterCurrent, point.RadiantCurrent, float64(w.m.Heaters.Radiant.PowerW), point.RadiantPower
	if o == point.RadiantPower {
		powerW, otherW, own, other, swapped = otherW, powerW, other, own, point.AirHeaterPower
	}
	duty, forS := pulseShare, pulseS
	if w.m.Cycle[o].PeriodS > 0 {
		duty, forS = 1, pulseShare*pulseS
	}
	r := Result{Point: o.String(), Asked: fmt.Sprintf("%.0f %% for %.1f s", 100*duty, forS), Verdict: Right}
	if err := w.s.hold(ctx, 2, closed, nil); err != nil {
		return err
	}
	before := w.s.img.In
	ownA, otherA, permitted := 0.0, 0.0, 0.0
	note := func() bool {
		ownA, otherA = math.Max(ownA, current(w.s.img.In[own])), math.Max(otherA, current(w.s.img.In[other]))
		permitted = math.Max(permitted, w.s.permit.Value(o))
		return !w.s.gate.Tripped()
	}
	if err := w.s.hold(ctx, forS, with(closed, asks{o: duty}), note); err != nil {
		return err
	}
	if err := w.s.hold(ctx, 1, closed, note); err != nil {
		return err
	}
	cause := ""
	if w.s.gate.Tripped() {
		cause = w.s.rec.Safety.First
	}
	roseK, where := 0.0, point.HeaterElement
	if err := w.s.hold(ctx, afterS, base, func() bool {
		for _, i := range [...]point.Input{point.HeaterElement, point.InletAir} {
			if x := w.s.img.In[i]; w.m.HasIn[i] && x.Usable() && before[i].Usable() && x.V-before[i].V > roseK {
				roseK, where = x.V-before[i].V, i
			}
		}
		return true
	}); err != nil {
		return err
	}
	volts := float64(w.m.Heaters.RatedV)
	want := duty * powerW / volts
	hasOwn, hasOther := w.m.HasIn[own], w.m.HasIn[other]
	r.Seen = fmt.Sprintf("%s rose by %.1f K", where, roseK)
	if hasOwn {
		r.Seen += fmt.Sprintf("; %s %.2f A, expected %.2f A", own, ownA, want)
	}
	if hasOther {
		r.Seen += fmt.Sprintf("; %s %.2f A", other, otherA)
	}
	warmed := roseK >= heaterRoseK
	switch {
	case permitted == 0:
		r.Verdict, r.Seen = NotDone, "the gate gave no heat: "+w.s.rec.Safety.HeldBack
	case hasOther && otherA > restShare*otherW/volts && !(hasOwn && ownA > restShare*powerW/volts):
		r.With = swapped.String()
		r.fail(Exchanged, "the other heater drew the current: the two heaters' outputs are exchanged, or their current sensors; see which one got warm")
	case hasOwn && ownA <= 0.3*want:
		r.fail(NoFeedback, "no current: check fuse, relay and heater")
	case hasOwn && (ownA < 0.5*want || ownA > 1.6*want):
		r.fail(Off, "the current does not fit the rated power: check scale, rated power and voltage")
	case !hasOwn && o == point.AirHeaterPower && !warmed:
		r.fail(NoFeedback, "neither element nor inlet air got warmer: is it the other heater that is switched?")
	case !hasOwn && o == point.RadiantPower && warmed:
		r.With = swapped.String()
		r.fail(Exchanged, "the air heater got warm: the two heaters' outputs are exchanged")
	case !hasOwn && o == point.RadiantPower:
		ok, err := w.p.Confirm(ctx, o, "Did the clamp meter on the panels' supply, or their warmth, show that the panels were on?")
		if err != nil {
			return err
		}
		if !ok {
			r.fail(NoFeedback, "check fuse, relay and panels")
		}
	}
	if cause != "" {
		r.Seen += "; the gate tripped: " + cause
		if r.Verdict == Right {
			r.fail(Tripped, "see what the cause says; drumwright matrix explains it")
		}
	}
	w.add(r)
	return nil
}

func current(v point.Value) float64 {
	if v.Usable() {
		return v.V
	}
	return 0
}

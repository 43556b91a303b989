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

func onOff(on bool) string {
	if on {
		return "on"
	}
	return "off"
}

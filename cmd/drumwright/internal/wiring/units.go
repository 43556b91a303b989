package wiring

import (
	"context"
	"fmt"
	"math"
	"time"

	"drumwright/io/fieldbus"
	"drumwright/io/point"
)

const (
	unitRounds = 15   // questions to each unit, so that a sporadic fault shows
	badShare   = 0.2  // of answers lost that points at the unit, when others lose none
	jumpK      = 15.0 // by which a probe at rest does not move between two questions
)

// units asks every unit again and again, with nothing moving: a device that
// shares its unit id with another loses answers or contradicts itself.
func (w *Walk) units(ctx context.Context) error {
	plan, err := fieldbus.Plan(w.m)
	if err != nil {
		return err
	}
	type key struct {
		bus  int
		unit uint8
	}
	type tally struct {
		asked, lost, denied, odd int
		what                     string
		last                     map[string]float64
	}
	order, by := []key{}, map[key]*tally{}
	for range unitRounds {
		for i := range plan {
			r := &plan[i]
			k := key{r.Bus, r.Unit}
			t := by[k]
			if t == nil {
				t = &tally{last: map[string]float64{}}
				by[k] = t
				order = append(order, k)
			}
			if r.Write {
				continue
			}
			words, echo := w.s.field.Peek(ctx, r.Bus, r.Unit, r.Table, r.Address, r.Count, time.Now().Add(patience))
			if ctx.Err() != nil {
				return ctx.Err()
			}
			t.asked++
			switch echo {
			case fieldbus.Answered:
			case fieldbus.Denied:
				t.denied++
				continue
			default:
				t.lost++
				continue
			}
			for name, a := range w.pointsOf(r) {
				at := int(a.Address) - int(r.Address)
				v := a.Decode(words[at : at+a.Type.Words()])
				was, known := t.last[name]
				t.last[name] = v.V
				if !known {
					continue
				}
				if d := math.Abs(v.V - was); d > jumpK || d >= 1 && w.restless(name) {
					t.odd++
					t.what = fmt.Sprintf("%s read %.4g and then %.4g with nothing moving", name, was, v.V)
				}
			}
		}
	}
	for _, k := range order {
		t := by[k]
		if t.asked == 0 {
			continue // outputs only: they show by their feedback
		}
		elsewhere, others := 0, 0
		for o, x := range by {
			if o != k && o.bus == k.bus {
				elsewhere, others = elsewhere+x.lost, others+x.asked
			}
		}
		alone := float64(elsewhere) <= badShare/4*float64(others)
		r := Result{Point: fmt.Sprintf("%s unit %d", w.m.BusList[k.bus].Name, k.unit), Asked: fmt.Sprintf("read %d times, nothing moving", t.asked),
			Seen: fmt.Sprintf("%d answers lost, %d refused, %d contradictions", t.lost, t.denied, t.odd), Verdict: Right}
		if t.what != "" {
			r.Seen += "; " + t.what
		}
		lost := float64(t.lost) / float64(t.asked)
		switch {
		case t.lost == t.asked:
			r.fail(NoDevice, "check supply, cable, unit id, baud rate and parity; drumwright find lists who answers on the bus")
		case t.odd >= 2 || lost > badShare && alone && t.odd > 0:
			r.fail(TwoDevices, "disconnect the devices of this bus one by one until the answers are steady; give one of the two another unit id")
		case lost > badShare && alone:
			r.fail(TwoDevices, "either two devices have this unit id or the connection of this one is bad: disconnect it and see whether another still answers")
		case lost > badShare:
			r.fail(Off, "answers are lost on the whole bus: check termination, polarity, screen and baud rate")
		case t.denied > 0:
			r.fail(Off, "the device has no such address: check table and addresses of its points")
		}
		w.add(r)
	}
	return nil
}

// pointsOf are the inputs and constants that lie in what a request reads.
func (w *Walk) pointsOf(r *fieldbus.Request) map[string]*point.Access {
	in := map[string]*point.Access{}
	put := func(name string, a *point.Access) {
		from := int(a.Address)
		if a.Bus == r.Bus && a.Unit == r.Unit && a.Table == r.Table && from >= int(r.Address) && from+a.Type.Words() <= int(r.Address)+r.Count {
			in[name] = a
		}
	}
	for i := range point.NumInputs {
		if w.m.HasIn[i] {
			put(i.String(), &w.m.In[i])
		}
	}
	for i := range w.m.Constants {
		put(w.m.Constants[i].Name, &w.m.Constants[i].Access)
	}
	return in
}

// restless reports whether a point at rest does not change at all: contacts,
// states, counters and constants.
func (w *Walk) restless(name string) bool {
	i, ok := point.InputNamed(name)
	return !ok || i.Role().Kind == point.Contact || i.Role().Kind == point.Status || i.Role().Kind == point.Counter
}

func (r *Result) fail(fault, suggest string) { r.Verdict, r.Fault, r.Suggest = Wrong, fault, suggest }

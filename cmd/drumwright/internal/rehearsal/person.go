package rehearsal

import (
	"drumwright/control/plant"
	"drumwright/io/point"
	"drumwright/io/record"
)

// The scripted operator's habits (invented, as an unhurried person would).
const (
	chargeAfterReadyS = 10.0
	dropReactionS     = 0.5
	emptiedAfterS     = 15.0
	askAgainS         = 5.0 // after a refusal
	crackHeardAfterS  = 2.0
	// crackTrueC is the true bean temperature at which the simulated beans
	// begin to crack; no reading of any probe.
	crackTrueC = 198.0
)

// person plays the operator by what the last scan showed.
type person struct {
	askS      float64 // not before this is warming asked for, again if it was refused
	started   bool    // the machine has been warm once: a stop is meant
	charged   bool
	cracked   bool
	crackSeen float64
	dropped   bool
	droppedS  float64
	said      bool
	stopped   bool
	counted   bool
	done      int
}

func (p *person) act(d *day) {
	s := &d.last
	post := func(k record.Kind) {
		d.say(record.Command{Kind: k, Who: "rehearsal", Local: true})
	}
	p.started = p.started || s.State == "warming"
	switch s.State {
	case "cold":
		if !p.started && s.N > 1 && d.nowS >= p.askS && !d.plan.Habits.NeverStart {
			p.askS = d.nowS + askAgainS
			post(record.LoadRecipe)
			post(record.StartWarming)
		}
	case "ready":
		p.cracked, p.dropped, p.said, p.counted, p.crackSeen = false, false, false, false, 0
		if !p.charged && !d.plan.Habits.NeverCharge && s.InS >= chargeAfterReadyS+d.plan.Habits.ChargeLateS && p.done < d.plan.Batches {
			p.charged = true
			d.server.With(func(m *plant.Machine) {
				d.fail(m.Charge(float64(d.plan.Recipe.Charge.Green), d.moistureWB))
			})
			if d.plan.Machine.Batch.ChargeBy == "operator" {
				post(record.Charged)
			}
		}
	case "roasting":
		if p.cracked {
			return
		}
		d.server.With(func(m *plant.Machine) {
			if t := m.Truth(); t.BeansKg > 0 && t.BeanC >= crackTrueC && p.crackSeen == 0 {
				p.crackSeen = d.nowS
			}
		})
		if p.crackSeen > 0 && d.nowS >= p.crackSeen+crackHeardAfterS {
			p.cracked = true
			post(record.FirstCrack)
		}
	case "discharging":
		if !p.dropped && !d.plan.Habits.NeverDrop && s.InS >= dropReactionS+d.plan.Habits.DropLateS {
			p.dropped = true
			p.droppedS = s.InS
			d.server.With(func(m *plant.Machine) { m.Drop() })
		}
		if p.dropped && !p.said && !d.plan.Machine.HasIn[point.DischargeDoorOpen] && s.InS >= p.droppedS+emptiedAfterS {
			p.said = true // no contact tells that the beans are out
			post(record.Dropped)
		}
	case "cooling":
		p.charged = false
		if !p.counted {
			p.counted = true
			p.done++
		}
	case "warming":
		if p.counted && p.done >= d.plan.Batches && !p.stopped {
			p.stopped = true
			post(record.Stop)
		}
	}
	if p.counted && s.State == "warming" {
		p.counted = false
		d.server.With(func(m *plant.Machine) { m.EmptyTray() })
	}
}

func (d *day) fail(err error) {
	if err != nil && d.err == nil {
		d.err = err
	}
}

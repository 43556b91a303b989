package rehearsal

import (
	"context"

	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/record"
)

// Moment is what somebody beside the machine sees between two scans.
type Moment struct {
	Last     *record.Scan
	Truth    plant.Truth    // as the last scan found the machine
	Readings plant.Readings // as its devices showed it to that scan
	Server   *registers.Server
	Say      func(record.Command) // gives a command to the next scan

	day *day
}

// Miss lets the machine go on for whole periods in which the controller makes no
// scan; its clock tells it so afterwards, as a clock that goes on by itself does.
// see, if any, is called after each.
func (m *Moment) Miss(periods int, see func(plant.Truth)) error {
	for range periods {
		if err := m.day.server.Advance(float64(m.day.plan.Machine.Scan.PeriodS)); err != nil {
			return err
		}
		m.day.missed++
		m.day.nowS += float64(m.day.plan.Machine.Scan.PeriodS)
		if see != nil {
			m.day.server.With(func(x *plant.Machine) { see(x.Truth()) })
		}
	}
	return nil
}

// clock is the lockstep clock that knows of missed periods.
type clock struct {
	control.Lockstep
	day *day
}

func (c *clock) Next(ctx context.Context) (control.Slot, error) {
	s, err := c.Lockstep.Next(ctx)
	s.Missed, c.day.missed = c.day.missed, 0
	return s, err
}

// Habits is how the operator differs from an unhurried and careful one.
type Habits struct {
	ChargeLateS float64 // charges later than usual, s
	DropLateS   float64 // opens the door later than usual, s
	NeverStart  bool
	NeverCharge bool
	NeverDrop   bool
}

// beside lets the plan's observer look and act; it reports whether the day ends.
func (d *day) beside() bool {
	if d.plan.Beside == nil {
		return false
	}
	m := Moment{Last: &d.last, Server: d.server, Say: d.say, day: d}
	d.server.With(func(x *plant.Machine) { m.Truth, m.Readings = x.Truth(), x.Readings() })
	return d.plan.Beside(&m)
}

func (d *day) say(c record.Command) {
	cmd := control.Command{Command: c, Loaded: d.plan.Recipe, Lessons: d.plan.Lessons}
	d.runner.Post(cmd)
	if d.plan.Posted != nil {
		d.plan.Posted(d.last.N+1, cmd)
	}
}

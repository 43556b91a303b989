package rehearsal

import (
	"context"
	"fmt"
	"time"

	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/record"
	"drumwright/profiles"
)

// patienceS is how long a simulated unit may take to answer: practice time
// flies, and a reply that a loaded computer gives late must not look like a unit
// that is silent for seconds.
const patienceS = 0.2

// lockstepPauseS is the silence between frames on a simulated line.
const lockstepPauseS = 20e-6

// Practice is a simulated machine to practise on: it plays so many times faster
// than life, waits for a computer that cannot keep up instead of missing scans,
// and its hands do to it what a person has said at the page: they pour the beans
// in, open the door, empty the tray. It is the clock of the runner and one of
// its sinks; both are called from the goroutine of the scan.
type Practice struct {
	server   *registers.Server
	say      func(string) // what a person beside the machine would see and hear
	periodS  float64
	every    time.Duration
	next     time.Time
	wetBasis float64

	last    record.Scan
	beans   bool // in the drum
	cracked bool
	tray    bool // beans lie in the tray
}

// NewPractice starts the machine; its buses are moved to free loopback ports.
func NewPractice(m *profiles.Machine, seed uint64, scale float64, say func(string)) (*Practice, error) {
	params := registers.ParamsFor(m).With(registers.Drawn(seed))
	machine, err := plant.New(params, seed)
	if err != nil {
		return nil, err
	}
	server, err := registers.New(m, machine)
	if err != nil {
		return nil, err
	}
	server.Unpaced, server.TurnRound = true, 0
	if err := server.Listen(true); err != nil {
		return nil, err
	}
	for i := range m.BusList {
		b := &m.BusList[i]
		b.TimeoutS = max(b.TimeoutS, patienceS)
		if b.RTU != nil {
			b.RTU.PauseS = lockstepPauseS
		}
	}
	period := float64(m.Scan.PeriodS)
	return &Practice{server: server, say: say, periodS: period, every: time.Duration(period / scale * float64(time.Second)), wetBasis: params.MoistureWB}, nil
}

// Close ends the machine.
func (p *Practice) Close() { p.server.Close() }

// Next lets the hands act on what the last scan showed and moves the machine by
// one period.
func (p *Practice) Next(ctx context.Context) (control.Slot, error) {
	now := time.Now()
	if p.next = p.next.Add(p.every); p.next.Before(now) {
		p.next = now
	}
	select {
	case <-ctx.Done():
		return control.Slot{}, ctx.Err()
	case <-time.After(p.next.Sub(now)):
	}
	if err := p.hands(); err != nil {
		return control.Slot{}, err
	}
	if err := p.server.Advance(p.periodS); err != nil {
		return control.Slot{}, err
	}
	by := time.Now().Add(5 * time.Second)
	return control.Slot{ReadBy: by, DoneBy: by}, nil
}

// Put takes the record of a scan.
func (p *Practice) Put(s *record.Scan) { p.last = *s }

func (p *Practice) hands() (err error) {
	s := &p.last
	p.server.With(func(m *plant.Machine) {
		switch {
		case s.State == "roasting" && !p.beans && s.Batch.GreenKg > 0:
			p.beans, p.cracked = true, false
			err = m.Charge(s.Batch.GreenKg, p.wetBasis)
			p.say(fmt.Sprintf("%.0f g of beans are poured in.", 1000*s.Batch.GreenKg))
		case p.beans && (s.State == "discharging" && s.InS >= dropReactionS || p.toldEmpty()):
			p.beans, p.tray = false, true
			m.Drop()
			p.say("The door is opened; the beans fall into the tray.")
		case p.tray && s.State != "cooling" && s.State != "discharging" && s.State != "tripped":
			p.tray = false
			m.EmptyTray()
			p.say("The tray is emptied.")
		}
		if t := m.Truth(); p.beans && !p.cracked && t.BeanC >= crackTrueC {
			p.cracked = true
			p.say("The beans begin to crack.")
		}
	})
	return err
}

// toldEmpty reports whether a person has said of a broken-off batch that its
// beans are out.
func (p *Practice) toldEmpty() bool {
	for i := range p.last.NumEvents {
		if e := &p.last.Events[i]; e.Kind == record.Accepted && e.Name == string(record.Dropped) {
			return true
		}
	}
	return false
}

package wiring

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"log/slog"
	"time"

	"drumwright/io/fieldbus"
	"drumwright/io/point"
	"drumwright/io/sensor"
	"drumwright/profiles"
	"drumwright/safety"
)

// Person is who stands at the machine.
type Person interface {
	Say(text string)
	// Act has something done at an input; restore puts it back. done is false if
	// the person leaves it out.
	Act(ctx context.Context, i point.Input, restore bool, text string) (done bool, err error)
	// Confirm asks what an output did.
	Confirm(ctx context.Context, o point.Output, question string) (bool, error)
	// Room asks for the room temperature by a thermometer that is no probe of the
	// machine, °C.
	Room(ctx context.Context) (float64, error)
}

// Walk is one walk along a machine's wiring.
type Walk struct {
	m      *profiles.Machine
	p      Person
	s      *scanner
	record Record
}

// New prepares a walk; nothing is opened yet. The machine must not change.
func New(m *profiles.Machine, who string, p Person, clock Clock) (*Walk, error) {
	field, err := fieldbus.New(m, slog.New(slog.DiscardHandler))
	if err != nil {
		return nil, err
	}
	return &Walk{m: m, p: p, s: &scanner{m: m, field: field, gate: safety.NewGate(m, nil), clock: clock},
		record: Record{Machine: m.About.Name, MachineHash: m.Hash, WiringHash: Hash(m), Who: who}}, nil
}

// Hash names what a walk has looked at: buses and points, as compiled, and
// nothing else of the file. A changed gain does not change it.
func Hash(m *profiles.Machine) string {
	h := sha256.New()
	for i := range m.BusList {
		b := &m.BusList[i]
		fmt.Fprintln(h, b.Name)
		if b.RTU != nil {
			fmt.Fprintln(h, *b.RTU)
		}
		if b.TCP != nil {
			fmt.Fprintln(h, *b.TCP)
		}
	}
	for i := range point.NumInputs {
		if m.HasIn[i] {
			a := m.In[i]
			// What calibration changes:
			a.Gain, a.ShiftK = 0, 0
			if i.Role().Kind == point.Temperature && a.Sensor == sensor.None {
				a.Scale, a.Offset = 0, 0
			}
			fmt.Fprintln(h, i, a)
			if a.Sensor.Thermocouple() {
				fmt.Fprintln(h, m.Junction[i])
			}
		}
	}
	for o := range point.NumOutputs {
		if m.HasOut[o] {
			fmt.Fprintln(h, o, m.Out[o], m.HasBack[o], m.Back[o])
		}
	}
	for i := range m.Constants {
		fmt.Fprintln(h, m.Constants[i])
	}
	return hex.EncodeToString(h.Sum(nil))
}

// offPatience is how long heat off is tried; what does not take it is named by
// the walk itself.
const offPatience = time.Second

// Run walks and gives the record. An error means that the walk could not be
// made, not that something is wrong. Heat is off and all stands when it returns.
func (w *Walk) Run(ctx context.Context) (_ *Record, err error) {
	defer func() {
		if e := w.s.field.Close(); err == nil && e != nil {
			err = e
		}
	}()
	off, cancel := context.WithTimeout(ctx, offPatience)
	offErr := w.s.field.HeatOff(off)
	cancel()
	defer func() {
		off, cancel := context.WithTimeout(context.WithoutCancel(ctx), offPatience)
		defer cancel()
		// A heat output that is not wired to a device that answers stands among the
		// results.
		_ = w.s.field.HeatOff(off)
	}()
	if w.record.RoomC, err = w.p.Room(ctx); err != nil {
		return nil, err
	}
	for _, step := range [...]func(context.Context) error{w.units, w.rest, w.atRest, w.move, w.drive} {
		if err := step(ctx); err != nil {
			return nil, err
		}
		if w.deaf() {
			w.p.Say("What a device says cannot be trusted yet: put the units right first, then walk again.")
			break
		}
	}
	if offErr != nil {
		w.p.Say("At the start heat off was not acknowledged: " + offErr.Error())
	}
	return &w.record, nil
}

// rest reads until every point has been read, and writes nothing.
func (w *Walk) rest(ctx context.Context) error {
	return w.look(ctx, 3, nil)
}

// look lets time pass reading only.
func (w *Walk) look(ctx context.Context, seconds float64, each func() bool) error {
	return w.s.look(ctx, seconds, each)
}

func (w *Walk) add(r Result) {
	w.record.Results = append(w.record.Results, r)
	line := r.Point + ": " + r.Verdict
	if r.Fault != "" {
		line += ", " + r.Fault
	}
	if r.With != "" {
		line += " with " + r.With
	}
	w.p.Say(line + "; " + r.Seen)
	if r.Suggest != "" {
		w.p.Say("  " + r.Suggest)
	}
}

// found is the last result of a point, nil if there is none.
func (w *Walk) found(name string) *Result {
	for k := len(w.record.Results) - 1; k >= 0; k-- {
		if w.record.Results[k].Point == name {
			return &w.record.Results[k]
		}
	}
	return nil
}

// deaf reports whether a unit was found wrong: nothing that is read can be
// trusted then.
func (w *Walk) deaf() bool {
	for i := range w.record.Results {
		r := &w.record.Results[i]
		if _, ok := point.InputNamed(r.Point); !ok && (r.Fault == TwoDevices || r.Fault == NoDevice) {
			return true
		}
	}
	return false
}

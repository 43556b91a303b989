package registers

import (
	"fmt"
	"math"
	"slices"

	"drumwright/io/point"
)

// The faults of package plant that are seen in registers only.
const (
	writeIgnored    = "write_ignored"
	writeRefused    = "write_refused"
	foreignMaster   = "foreign_master"
	deviceExchanged = "device_exchanged"
)

// foreignEveryS is the rhythm of the other master's writes, s.
const foreignEveryS = 0.5

// devices shows what devices say of themselves and of what they have taken.
func (s *Server) devices() error {
	if err := s.meddle(); err != nil {
		return err
	}
	s.ignoring, s.refusing = s.machine.Active(writeIgnored), s.machine.Active(writeRefused)
	exchanged := s.machine.Active(deviceExchanged)
	for i := range s.m.Constants {
		c := &s.m.Constants[i]
		raw := c.Is
		if exchanged {
			raw = math.Abs(raw - 1)
		}
		var w [2]uint16
		n, err := c.Access.EncodeRaw(raw, &w)
		if err != nil {
			return fmt.Errorf("simulated machine: identity %s: %w", c.Name, err)
		}
		s.bankOf(&c.Access).put(&c.Access, w[:n])
	}
	for o := range point.NumOutputs {
		a, out := &s.m.Back[o], &s.m.Out[o]
		if !s.m.HasBack[o] || a.Table == out.Table && a.Address == out.Address {
			continue
		}
		if err := s.set(a, s.order(o)); err != nil {
			return fmt.Errorf("simulated machine: read_back of %s: %w", o, err)
		}
	}
	return nil
}

// meddle is another master that writes to the air heater.
func (s *Server) meddle() error {
	now := s.machine.Truth().TimeS
	if !s.machine.Active(foreignMaster) || now < s.foreignS {
		return nil
	}
	s.foreignS = now + foreignEveryS
	v := s.order(point.AirHeaterPower)
	switch {
	case s.m.Cycle[point.AirHeaterPower].PeriodS > 0: // on or off
		v = 1 - v
	case v > 0.5:
		v -= 0.25
	default:
		v += 0.25
	}
	if err := s.set(&s.m.Out[point.AirHeaterPower], v); err != nil {
		return fmt.Errorf("simulated machine: foreign write: %w", err)
	}
	return nil
}

// set puts a value into its registers.
func (s *Server) set(a *point.Access, v float64) error {
	var w [2]uint16
	n, err := a.Encode(v, &w)
	if err == nil {
		s.bankOf(a).put(a, w[:n])
	}
	return err
}

func (s *Server) bankOf(a *point.Access) *bank { return s.banks[bankKey{a.Bus, a.Unit, a.Table}] }

// take puts what a client writes into its registers. With write_ignored the
// air heater's own stay as they are, though the write is acknowledged; with
// write_refused a write that would change them changes nothing at all.
func (s *Server) take(place, words []uint16) error {
	if !s.ignoring && !s.refusing {
		copy(place, words)
		return nil
	}
	before, v := slices.Clone(place), s.order(point.AirHeaterPower)
	copy(place, words)
	if s.refusing && s.order(point.AirHeaterPower) != v {
		copy(place, before)
		return errRefused
	}
	return s.set(&s.m.Out[point.AirHeaterPower], v)
}

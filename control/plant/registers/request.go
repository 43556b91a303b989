package registers

import (
	"errors"

	"drumwright/io/point"
)

// request is what a master asks of one unit, however it came.
type request struct {
	bus   int
	unit  uint8
	table point.Table
	addr  uint16
	count uint16
	set   []uint16 // values to write, count of them; nil in a read
}

// Why a request is not carried out.
var (
	errSilent    = errors.New("unit does not answer")
	errNobody    = errors.New("there is no such unit")
	errNoAddress = errors.New("unit has no such address")
	errRefused   = errors.New("the device does not take it")
	errCollision = errors.New("two units answer at once")
)

// do carries a request out, wholly or not at all, and returns what then stands
// in the registers.
func (s *Server) do(r request) ([]uint16, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.silent[bankKey{bus: r.bus, unit: r.unit}] {
		return nil, errSilent
	}
	b, ok := s.banks[bankKey{r.bus, r.unit, r.table}]
	if !ok && !s.has(r.bus, r.unit) {
		return nil, errNobody
	}
	if !ok {
		return nil, errNoAddress
	}
	w, ok := b.span(r.addr, r.count)
	if !ok {
		return nil, errNoAddress
	}
	s.requests++
	if r.set != nil {
		if err := s.take(w, r.set); err != nil {
			return nil, err
		}
	}
	if r.set == nil {
		seen, collided := s.doubled(r.bus, r.unit, w)
		if collided {
			return nil, errCollision
		}
		w = seen
	}
	return append([]uint16(nil), w...), nil
}

// speaks reports whether the machine has the unit and it answers.
func (s *Server) speaks(bus int, unit uint8) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return !s.silent[bankKey{bus: bus, unit: unit}] && s.has(bus, unit)
}

// has reports whether the machine has the unit. The lock is held.
func (s *Server) has(bus int, unit uint8) bool {
	for t := point.Coil; t <= point.InputRegister; t++ {
		if _, ok := s.banks[bankKey{bus, unit, t}]; ok {
			return true
		}
	}
	return false
}

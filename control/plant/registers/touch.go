package registers

import (
	"fmt"

	"drumwright/io/point"
)

// touched is what a person beside the machine makes points show.
type touched struct {
	on [point.NumInputs]bool
	v  [point.NumInputs]float64
}

// Touch makes an input show a value, in the unit of its role, as a person does
// who warms a probe, holds a switch or turns a shaft; Release ends it.
func (s *Server) Touch(i point.Input, v float64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.touched.on[i], s.touched.v[i] = true, v
}

// Release lets a touched input show again what the machine does.
func (s *Server) Release(i point.Input) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.touched.on[i] = false
}

// twin is a second device at the address of one of the machine's.
type twin struct {
	bus  int
	unit uint8
	n    uint32
	on   bool
}

// Twin puts a second device of the same kind at the address of the unit that
// carries an input. Both answer every question: on a serial line most replies
// collide, and of those that do not every other one is the second device's,
// whose registers all hold 0.
func (s *Server) Twin(i point.Input) error {
	if !s.m.HasIn[i] {
		return fmt.Errorf("the machine has no %s", i)
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	s.twin = twin{bus: s.m.In[i].Bus, unit: s.m.In[i].Unit, on: true}
	return nil
}

// doubled is what comes of an answer of that unit: whether the replies collide,
// and whose words come through.
func (s *Server) doubled(bus int, unit uint8, words []uint16) (_ []uint16, collided bool) {
	t := &s.twin
	if !t.on || bus != t.bus || unit != t.unit {
		return words, false
	}
	t.n = t.n*1103515245 + 12345 // any order will do, but the same one each time
	switch t.n >> 16 % 3 {
	case 0:
		return nil, true
	case 1:
		return words, false
	}
	return make([]uint16, len(words)), false
}

package fieldbus

import (
	"encoding/binary"
	"errors"
	"sync/atomic"
	"time"

	"github.com/goburrow/modbus"

	"drumwright/io/point"
	"drumwright/profiles"
)

// Why nothing is written to a unit.
var (
	errForeign = errors.New("the device at this address is not the one that the machine file names under identity: nothing is written to it")
	errUnseen  = errors.New("the identity of the device has not been read yet: only heat off is written to it")
)

// identity is what a unit must be before it is written to. A unit that has once
// been what it must be is written to whatever comes later, because heat must
// still go off; the gate trips by then.
type identity struct {
	constants []constant
	proven    atomic.Bool // every constant has been right
	foreign   atomic.Bool // before that, one was read that is not
}

type constant struct {
	at    source
	want  profiles.Constant
	right bool // as last read
	wrong bool
}

func (u *unit) expect(at source, c profiles.Constant) {
	u.constants = append(u.constants, constant{at: at, want: c})
}

// saw takes in a value that the scan has read.
func (u *unit) saw(s source, v point.Value) {
	if s < firstConstant || u.proven.Load() {
		return
	}
	right, wrong := true, false
	for i := range u.constants {
		c := &u.constants[i]
		if c.at == s {
			c.right = v.Quality == point.Good && v.V == c.want.Is
			c.wrong = !c.right
		}
		right, wrong = right && c.right, wrong || c.wrong
	}
	u.proven.Store(right)
	u.foreign.Store(wrong)
}

// mayWrite reports whether the unit may be written to; with off only heat off
// is, which goes also to a unit that does not say what it is.
func (u *unit) mayWrite(off bool, read func(a *point.Access) ([]byte, error)) error {
	if len(u.constants) == 0 || u.proven.Load() {
		return nil
	}
	if u.foreign.Load() {
		return errForeign
	}
	for i := range u.constants {
		c := &u.constants[i].want
		data, err := read(&c.Access)
		switch {
		case err != nil && off:
			continue // it may be the right one, with hot elements behind it
		case err != nil:
			return errUnseen
		}
		if v := c.Access.Decode(wordsIn(c.Access.Table, data)); v.Quality != point.Good || v.V != c.Is {
			return errForeign
		}
	}
	return nil
}

func wordsIn(t point.Table, data []byte) []uint16 {
	if t.Bits() {
		return []uint16{uint16(data[0] & 1)}
	}
	words := make([]uint16, len(data)/2)
	for i := range words {
		words[i] = binary.BigEndian.Uint16(data[2*i:])
	}
	return words
}

// readTable reads a stretch of a table.
func readTable(c modbus.Client, t point.Table, address, count uint16) ([]byte, error) {
	switch t {
	case point.Coil:
		return c.ReadCoils(address, count)
	case point.DiscreteInput:
		return c.ReadDiscreteInputs(address, count)
	case point.Holding:
		return c.ReadHoldingRegisters(address, count)
	}
	return c.ReadInputRegisters(address, count)
}

// identified asks a unit what it is before the scan's first write to it. The
// caller has the turn.
func (b *bus) identified(u *unit, off bool, deadline time.Time) error {
	return u.mayWrite(off, func(a *point.Access) ([]byte, error) {
		return b.fetch(u, a.Table, a.Address, uint16(a.Type.Words()), deadline)
	})
}

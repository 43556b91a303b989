package registers

import (
	"fmt"
	"math"

	"drumwright/control/plant"
	"drumwright/io/point"
	"drumwright/profiles"
)

// bank is one address space of one unit: every address from the lowest to the
// highest that the machine file names. What lies between reads as 0; what lies
// outside does not exist.
type bank struct {
	lo    int
	words []uint16
}

// terminalsC is how warm it is where the wires of thermocouples end.
const terminalsC = 31.3

type bankKey struct {
	bus   int
	unit  uint8
	table point.Table
}

func (b *bank) span(addr, quantity uint16) ([]uint16, bool) {
	from := int(addr) - b.lo
	if from < 0 || from+int(quantity) > len(b.words) {
		return nil, false
	}
	return b.words[from : from+int(quantity)], true
}

// layOut makes the banks that the machine's points need.
func layOut(m *profiles.Machine) map[bankKey]*bank {
	type reach struct{ lo, hi int }
	spans := map[bankKey]reach{}
	note := func(a *point.Access) {
		k := bankKey{a.Bus, a.Unit, a.Table}
		lo, hi := int(a.Address), int(a.Address)+max(a.Type.Words(), a.SpanWords, 1)
		if r, ok := spans[k]; ok {
			lo, hi = min(lo, r.lo), max(hi, r.hi)
		}
		spans[k] = reach{lo, hi}
	}
	for i := range m.In {
		if m.HasIn[i] {
			note(&m.In[i])
			if m.In[i].Sensor.Thermocouple() {
				note(&m.Junction[i])
			}
		}
	}
	for o := range m.Out {
		if m.HasOut[o] {
			note(&m.Out[o])
		}
		if m.HasBack[o] {
			note(&m.Back[o])
		}
	}
	for i := range m.Constants {
		note(&m.Constants[i].Access)
	}
	banks := map[bankKey]*bank{}
	for k, r := range spans {
		banks[k] = &bank{lo: r.lo, words: make([]uint16, r.hi-r.lo)}
	}
	return banks
}

// input puts one reading into its registers.
func (s *Server) input(i point.Input, v float64, open bool) error {
	if !s.m.HasIn[i] {
		return nil
	}
	a := &s.m.In[i]
	b := s.banks[bankKey{a.Bus, a.Unit, a.Table}]
	var w [2]uint16
	var n int
	var err error
	switch {
	case open:
		n, err = a.EncodeRaw(openCode(a), &w)
	case i.Role().Kind == point.Counter:
		raw := v / a.Scale
		if wrap := a.Type.Wrap(); wrap > 0 {
			raw = math.Mod(raw, wrap)
			if (a.Type == point.Int16 || a.Type == point.Int32) && raw >= wrap/2 {
				raw -= wrap
			}
		}
		n, err = a.EncodeRaw(raw, &w)
	default:
		if a.Sensor.Thermocouple() {
			v = a.Uncompensate(v, terminalsC)
			if err := s.set(&s.m.Junction[i], terminalsC); err != nil {
				return fmt.Errorf("simulated machine: cold_junction of %s: %w", i, err)
			}
		}
		n, err = a.Encode(v, &w)
	}
	if err != nil {
		return fmt.Errorf("simulated machine: input %s: %w", i, err)
	}
	b.put(a, w[:n])
	return nil
}

// put writes the words of a value to its place. Other bits of a word belong to
// others.
func (b *bank) put(a *point.Access, words []uint16) {
	at := int(a.Address) - b.lo
	if a.Bit != point.NoBit && !a.Table.Bits() {
		mask := a.WordBit()
		b.words[at] = b.words[at]&^mask | words[0]
		return
	}
	copy(b.words[at:], words)
}

// openCode is what a module sends for an open probe: its own code, not a
// number in a float, or the end of the scale.
func openCode(a *point.Access) float64 {
	if len(a.OpenCodes) > 0 {
		return a.OpenCodes[0]
	}
	switch a.Type {
	case point.Float32:
		return math.NaN()
	case point.Int16:
		return math.MaxInt16
	case point.Uint16:
		return math.MaxUint16
	case point.Int32:
		return math.MaxInt32
	}
	return math.MaxUint32
}

// order is the value that a client has last written to an output, 0 before.
func (s *Server) order(o point.Output) float64 {
	if !s.m.HasOut[o] {
		return 0
	}
	a := &s.m.Out[o]
	b := s.banks[bankKey{a.Bus, a.Unit, a.Table}]
	at := int(a.Address) - b.lo
	return a.Decode(b.words[at : at+a.Type.Words()]).V
}

// show puts everything that machine and devices report into the registers.
func (s *Server) show() error {
	r := s.machine.Readings()
	if err := s.readings(&r); err != nil {
		return err
	}
	return s.devices()
}

// readings shows everything that the machine reports.
func (s *Server) readings(r *plant.Readings) error {
	var first error
	for i := range point.NumInputs {
		v, open := Shown(i, r)
		if i == point.ResetButton && s.buttons.reset || i == point.FireButton && s.buttons.fire {
			v = 1
		}
		if s.touched.on[i] {
			v, open = s.touched.v[i], false
		}
		if err := s.input(i, v, open); err != nil && first == nil {
			first = err
		}
	}
	return first
}

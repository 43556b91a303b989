package fieldbus

import (
	"fmt"

	"drumwright/io/point"
	"drumwright/profiles"
)

// source is one thing that is read: an input, what a device says it has taken of
// an output, the cold junction of an input, or a constant of a device. They are
// numbered through in that order.
type source int

const (
	firstBack     = source(point.NumInputs)
	firstJunction = firstBack + source(point.NumOutputs)
	firstConstant = firstJunction + source(point.NumInputs)
	numSources    = firstConstant + point.MaxConstants
)

// fitted reports whether the machine has it.
func (s source) fitted(m *profiles.Machine) bool {
	switch {
	case s < firstBack:
		return m.HasIn[s]
	case s < firstJunction:
		return m.HasBack[s-firstBack]
	case s < firstConstant:
		return m.HasIn[s-firstJunction] && m.In[s-firstJunction].Sensor.Thermocouple()
	}
	return int(s-firstConstant) < len(m.Constants)
}

// in is its place in the image of a scan; nil for a cold junction, which shows in
// its input only.
func (s source) in(img *point.Image) *point.Value {
	switch {
	case s < firstBack:
		return &img.In[s]
	case s < firstJunction:
		return &img.Back[s-firstBack]
	case s < firstConstant:
		return nil
	}
	return &img.Known[s-firstConstant]
}

// name is how plans and errors name it.
func (s source) name() string {
	switch {
	case s < firstBack:
		return point.Input(s).String()
	case s < firstJunction:
		return "read_back of " + point.Output(s-firstBack).String()
	case s < firstConstant:
		return "cold_junction of " + point.Input(s-firstJunction).String()
	}
	return fmt.Sprintf("identity[%d]", s-firstConstant+1)
}

// accessesOf gathers where everything is read.
func accessesOf(m *profiles.Machine) (all [numSources]point.Access) {
	copy(all[:firstBack], m.In[:])
	copy(all[firstBack:firstJunction], m.Back[:])
	copy(all[firstJunction:firstConstant], m.Junction[:])
	for i := range m.Constants {
		all[firstConstant+source(i)] = m.Constants[i].Access
	}
	return all
}

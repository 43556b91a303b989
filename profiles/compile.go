package profiles

import (
	"fmt"
	"math"
	"strings"

	"drumwright/io/point"
)

// compilePoints makes In and Out, in the order of the roles, and checks that
// points and roles go together.
func (s *source) compilePoints(m *Machine) {
	inputNames := make([]string, point.NumInputs)
	for i := range inputNames {
		inputNames[i] = point.Input(i).String()
	}
	outputNames := make([]string, point.NumOutputs)
	for i := range outputNames {
		outputNames[i] = point.Output(i).String()
	}
	for _, name := range s.order["inputs"] {
		i, ok := point.InputNamed(name)
		if !ok {
			s.unknownRole("inputs", name, inputNames)
			continue
		}
		p := m.Inputs[name]
		c := pointCheck{source: s, m: m, p: &p, key: join("inputs", name), role: i.Role(), input: i, isInput: true}
		m.In[i] = c.access()
		m.HasIn[i] = true
	}
	for _, name := range s.order["outputs"] {
		o, ok := point.OutputNamed(name)
		if !ok {
			s.unknownRole("outputs", name, outputNames)
			continue
		}
		p := m.Outputs[name]
		c := pointCheck{source: s, m: m, p: &p, key: join("outputs", name), role: o.Role(), output: o}
		m.Out[o] = c.access()
		m.HasOut[o] = true
		if p.Cycle != nil {
			m.Cycle[o] = *p.Cycle
		}
		m.DeadHz[o] = float64(p.DeadHz)
		if p.ReadBack != nil {
			m.Back[o], m.HasBack[o] = c.readBack(m.Out[o]), true
		}
	}
	s.checkOverlaps(m)
	s.compileConstants(m)
}

func (s *source) unknownRole(section, name string, known []string) {
	s.fault(join(section, shown(name)), "an unknown role", strings.Join(known, ", "), instead(name, known))
}

// pointCheck turns one point into an access.
type pointCheck struct {
	*source
	m       *Machine
	p       *Point
	key     string
	role    point.Role
	input   point.Input
	output  point.Output
	isInput bool
}

func (c *pointCheck) fault(k, found, allowed, hint string) {
	c.source.fault(join(c.key, k), found, allowed, hint)
}

func (c *pointCheck) given(k string) bool { return c.has(join(c.key, k)) }

// only refuses keys that mean nothing here.
func (c *pointCheck) only(allowed bool, where string, keys ...string) {
	if allowed {
		return
	}
	for _, k := range keys {
		if c.given(k) {
			c.fault(k, "the key "+k, where, "take it out")
		}
	}
}

func (c *pointCheck) isSpeed() bool {
	return !c.isInput && (c.output == point.DrumSpeed || c.output == point.BlowerSpeed)
}

// isNumber reports whether one bit cannot carry the role. A power can be made
// from an on/off output.
func (c *pointCheck) isNumber() bool {
	return (c.role.Kind == point.Temperature || c.role.Kind == point.Number) && !c.isPower()
}

func (c *pointCheck) isPower() bool {
	return !c.isInput && (c.output == point.AirHeaterPower || c.output == point.RadiantPower)
}

var (
	tables = map[string]point.Table{"coil": point.Coil, "discrete_input": point.DiscreteInput, "holding": point.Holding, "input_register": point.InputRegister}
	types  = map[string]point.Type{"bool": point.Bool, "int16": point.Int16, "uint16": point.Uint16, "int32": point.Int32, "uint32": point.Uint32, "float32": point.Float32}
	orders = map[string]point.Order{"ABCD": point.ABCD, "CDAB": point.CDAB, "BADC": point.BADC, "DCBA": point.DCBA}
)

// access compiles and checks the point. Checks that build on a key with a
// fault are left out.
func (c *pointCheck) access() point.Access {
	p := c.p
	a := point.Access{
		Bus: c.bus(), Unit: uint8(p.Unit), Table: tables[p.Table], Order: orders[p.Order], Bit: point.NoBit, Mask: 0xFFFF,
		Scale: p.Scale, Offset: p.Offset, Inverted: p.Inverted, OpenCodes: p.Open,
		Min: -math.MaxFloat64, Max: math.MaxFloat64, EveryScans: p.Every, Alone: p.Alone, SpanWords: p.Span,
		Multiple: p.Write == "multiple",
	}
	if p.Address != nil {
		a.Address = uint16(*p.Address)
	}
	if p.Bit != nil {
		a.Bit = int8(*p.Bit)
	}
	if p.Mask != nil {
		a.Mask = uint16(*p.Mask)
	}
	c.only(c.isInput, "inputs only", "open_codes", "min", "max", "every", "span", "mask")
	c.only(!c.isInput, "outputs only", "write", "refresh", "time_proportioned", "read_back")
	c.only(c.isSpeed(), "drum_speed and blower_speed only", "in", "full_scale", "poles", "dead_band")
	if !c.sound(c.key, join(c.key, "table"), join(c.key, "type"), join(c.key, "bit"), join(c.key, "states")) || p.Table == "" {
		return a
	}
	if !c.isInput && (a.Table == point.DiscreteInput || a.Table == point.InputRegister) {
		c.fault("table", p.Table, "coil or holding for an output", "look up where the device takes its command")
	}
	a.Type = c.layout(&a)
	c.kindRules(&a)
	c.states(&a)
	if c.isInput {
		c.plausible(&a)
	}
	c.sensed(&a)
	c.units(&a)
	c.timing(&a)
	if words := a.Type.Words(); int(a.Address)+max(words, a.SpanWords) > 65536 {
		c.fault("address", fmt.Sprint(a.Address), "a value that ends at register 65535", "check the address and the type")
	}
	if c.isInput && a.SpanWords > 0 && (a.Table.Bits() || a.SpanWords < a.Type.Words()) {
		c.fault("span", fmt.Sprint(a.SpanWords), fmt.Sprintf("registers only, and at least the %d of the value", a.Type.Words()), "check the register list of the device")
	}
	if !c.isInput {
		a.Multiple = a.Multiple || (!a.Table.Bits() && a.Type.Words() == 2)
		c.representable(&a)
	}
	return a
}

func (c *pointCheck) bus() int {
	names := c.order["buses"]
	i := c.m.busIndex(c.p.Bus)
	if i < 0 {
		if c.p.Bus != "" && len(names) > 0 {
			c.fault("bus", shown(c.p.Bus), strings.Join(names, ", "), instead(c.p.Bus, names))
		}
		return 0
	}
	b := &c.m.BusList[i]
	if c.p.Unit == 0 && b.RTU != nil && c.given("unit") && c.sound(join(c.key, "unit")) {
		c.fault("unit", "0", "1 to 247 on an rtu line, where 0 speaks to all units at once", "give the unit its own id")
	}
	return i
}

// layout is the register type, by default what suits table and role.
func (c *pointCheck) layout(a *point.Access) point.Type {
	if c.p.Type != "" {
		t := types[c.p.Type]
		if a.Table.Bits() && t != point.Bool && !c.isNumber() {
			c.fault("type", c.p.Type, "bool in "+a.Table.String(), "take the key out or correct the table")
		}
		return t
	}
	switch {
	case a.Table.Bits():
		return point.Bool
	case a.Bit != point.NoBit || len(c.p.States) > 0 || c.role.Kind == point.Counter:
		return point.Uint16
	case c.role.Kind == point.Contact:
		return point.Bool
	}
	return point.Int16
}

// kindRules checks that table, type, bit and states suit what the role is.
func (c *pointCheck) kindRules(a *point.Access) {
	bits := a.Table.Bits()
	hasStates := len(c.p.States) > 0
	single := bits || a.Bit != point.NoBit || a.Type == point.Bool
	switch {
	case a.Bit != point.NoBit && (bits || (a.Type != point.Int16 && a.Type != point.Uint16)):
		c.fault("bit", fmt.Sprint(a.Bit), "a bit of one register of type uint16", "take bit out or correct table and type")
	case a.Bit != point.NoBit && hasStates:
		c.fault("bit", "both bit and states", "one of them", "take one out")
	case hasStates && (bits || (a.Type != point.Int16 && a.Type != point.Uint16)):
		c.fault("states", "states for "+a.Table.String()+" "+a.Type.String(), "one register of type uint16", "correct table and type")
	case c.role.Kind == point.Contact && !single && !hasStates:
		c.fault("type", a.Type.String(), "for a contact: coil, discrete_input, bit, bool, or states", "say which bit or which raw values count")
	case c.role.Kind == point.Status && !single && !hasStates:
		c.fault("states", "no states", "the raw values of stopped, running and fault, or a bit that means running", "add states:")
	case c.role.Kind == point.Counter && a.Type != point.Uint16 && a.Type != point.Uint32:
		c.fault("type", a.Type.String(), "uint16 or uint32 for a counter", "correct table and type")
	case c.role.Kind == point.Counter && (hasStates || a.Bit != point.NoBit || c.p.Scale != 1 || c.p.Offset != 0):
		c.source.fault(c.key, "bit, states, scale or offset for a counter", "the plain count", "take them out")
	case hasStates && (c.isNumber() || c.isPower()):
		c.fault("states", "states for a number", "contacts and status roles", "take states out")
	case single && c.isNumber():
		c.fault("table", "one bit for a number", "holding or input_register with a number", "correct table, type or bit")
	case c.isPower() && single != (c.p.Cycle != nil):
		if single {
			c.fault("time_proportioned", "an on/off output without it", "time_proportioned with a period for an on/off heater", "add time_proportioned: {period: 2 s}")
		} else {
			c.fault("time_proportioned", "time_proportioned for a number", "on/off outputs", "take it out")
		}
	case !c.isPower() && c.p.Cycle != nil:
		c.fault("time_proportioned", "time_proportioned", "air_heater_power and radiant_power only", "take it out")
	}
	numeric := !single && !hasStates
	c.only(numeric, "numbers only", "scale", "offset", "open_codes", "min", "max", "sensor", "correction", "cold_junction")
	c.only(single, "contacts of one bit only", "inverted")
	c.only(hasStates, "with states only", "mask")
	if numeric && c.p.Scale == 0 && c.sound(join(c.key, "scale")) {
		c.fault("scale", "0", "any number but 0", "look up the scaling of the register")
	}
}

// states compiles the words of a status or command.
func (c *pointCheck) states(a *point.Access) {
	if len(c.p.States) == 0 {
		return
	}
	words, allowed := []string{"stopped", "running", "fault"}, "stopped, running and, if the device has one, fault"
	values := []float64{point.DriveStopped, point.DriveRunning, point.DriveFault}
	if c.role.Kind != point.Status {
		words, allowed = []string{"stop", "run", "off", "on"}, "run and stop, or on and off"
		values = []float64{0, 1, 0, 1}
	}
	path := join(c.key, "states")
	var have [3]bool
	for _, name := range c.order[path] {
		raw, k := c.p.States[name], -1
		for i, w := range words {
			if w == name {
				k = i
			}
		}
		switch {
		case k < 0:
			c.source.fault(join(path, shown(name)), "an unknown state", allowed, instead(name, words))
			continue
		case raw < 0 || raw > 65535 || raw&^int(a.Mask) != 0:
			c.source.fault(join(path, name), fmt.Sprint(raw), fmt.Sprintf("0 to 65535, within the mask %d", a.Mask), "check the raw value and the mask")
			continue
		}
		v := values[k]
		for _, other := range a.States {
			if other.Raw == uint16(raw) || other.Value == v {
				c.source.fault(join(path, name), fmt.Sprint(raw), "each raw value and each meaning once", "give the states different values")
			}
		}
		have[int(v)] = true
		a.States = append(a.States, point.State{Raw: uint16(raw), Value: v})
	}
	if !have[0] || !have[1] {
		c.fault("states", "an incomplete list", allowed, "add what is missing")
	}
}

package profiles

import "drumwright/io/point"

// Device is one device of the machine whose registers lie as a map says.
type Device struct {
	Map  string         `yaml:"map" need:"yes" doc:"a shipped map, or NAME.yaml, a file of your own beside the machine file"`
	Bus  string         `yaml:"bus" need:"yes" doc:"name of a bus"`
	Unit int            `yaml:"unit" range:"0..247" default:"1" doc:"unit id"`
	With map[string]int `yaml:"with" doc:"parameters of the map, whole numbers"`
}

// DeviceMap is a kind of device: what is known of its registers, written once and
// used at any unit id.
type DeviceMap struct {
	What       string               `yaml:"what" need:"yes" doc:"the kind of device, one sentence"`
	Layout     string               `yaml:"layout" need:"yes" doc:"whose layout it is; a published one with its revision"`
	Tried      string               `yaml:"tried" need:"yes" doc:"on what: simulation only, or the device and its firmware"`
	Parameters map[string]Parameter `yaml:"parameters" doc:"what differs from one device of the kind to the next"`
	Inputs     map[string]Point     `yaml:"inputs" doc:"points that are read"`
	Outputs    map[string]Point     `yaml:"outputs" doc:"points that are written"`
	Identity   []DeviceConstant     `yaml:"identity" doc:"constants by which the device is known"`

	Name   string   `yaml:"-"` // as the machine file names it
	File   string   `yaml:"-"` // where it was read
	Points []string `yaml:"-"` // names of all points, in the order of the file
}

// Parameter is a whole number that differs from one device of a kind to the next.
type Parameter struct {
	What    string `yaml:"what" need:"yes" doc:"what it is"`
	Default *int   `yaml:"default" doc:"what it usually is; left out = it must be given"`
}

// Included is a point of the machine that a map has laid out.
type Included struct {
	Role   string
	Output bool
	Device string
	Point  string
	File   string   // of the map
	Line   int      // in it
	Own    []string // keys that the machine file gives in place of the map's, or beside them
}

// Reading is what can be read of a device, to see whether it is what its map says.
type Reading struct {
	Point    string // of the map, or what a constant is
	Role     string // that the point plays in the machine; empty = none
	Access   point.Access
	Junction *point.Access  // of a thermocouple in use
	States   map[string]int // the words of a status or command
	Is       *float64       // of a constant
	Ranged   bool           // Access.Min and Max are stated, by the map or for the role
}

// Readings lists what can be read of a device of the machine file: constants,
// inputs, and outputs where they are read back. Points in use are read as the daemon
// reads them. It is nil for a device that the file does not have.
func (m *Machine) Readings(device string) []Reading {
	kind := m.Maps[device]
	if kind == nil {
		return nil
	}
	roles := map[string]string{}
	for _, x := range m.Included {
		if x.Device == device {
			roles[x.Point] = x.Role
		}
	}
	var all []Reading
	for i := range kind.Identity {
		d := &kind.Identity[i]
		r := Reading{Point: entry("identity", i), Is: &d.Is}
		if d.What != "" {
			r.Point = d.What
		}
		r.Access = plainAccess(m, &Point{Bus: d.Bus, Unit: d.Unit, Table: d.Table, Address: d.Address, Type: d.Type, Order: d.Order, Scale: 1})
		all = append(all, r)
	}
	for _, name := range kind.Points {
		r := Reading{Point: name, Role: roles[name]}
		p, isInput := kind.Inputs[name]
		if !isInput {
			p = kind.Outputs[name]
			if p.ReadBack == nil {
				continue
			}
			if p.ReadBack.Table != "" {
				p.Table = p.ReadBack.Table
			}
			p.Address = p.ReadBack.Address
		}
		r.States, r.Access = p.States, plainAccess(m, &p)
		r.Ranged = p.Min != nil || p.Max != nil
		if i, ok := point.InputNamed(r.Role); ok && isInput {
			r.States, r.Access = m.Inputs[r.Role].States, m.In[i]
			r.Ranged = r.Access.Min > -ample && r.Access.Max < ample
			if r.Access.Sensor.Thermocouple() {
				r.Junction = &m.Junction[i]
			}
		}
		if o, ok := point.OutputNamed(r.Role); ok && !isInput && m.HasBack[o] {
			r.States, r.Access = m.Outputs[r.Role].States, m.Back[o]
		}
		all = append(all, r)
	}
	return all
}

// ample is beyond what any point can mean: no range was stated.
const ample = 1e300

// plainAccess is where a point lies and how it is converted, whatever it may mean.
func plainAccess(m *Machine, p *Point) point.Access {
	s := newSource("")
	c := pointCheck{source: s, m: m, p: p, role: point.Role{Kind: point.Number}, isInput: true}
	a := point.Access{Bus: max(m.busIndex(p.Bus), 0), Unit: uint8(p.Unit), Table: tables[p.Table], Address: uint16(*p.Address), Order: orders[p.Order],
		Bit: point.NoBit, Scale: p.Scale, Offset: p.Offset, Inverted: p.Inverted, OpenCodes: p.Open, Min: -2 * ample, Max: 2 * ample, SpanWords: p.Span}
	if p.Bit != nil {
		a.Bit = int8(*p.Bit)
	}
	if p.Mask != nil {
		a.Mask = uint16(*p.Mask)
	}
	a.Type = c.layout(&a)
	if p.Min != nil {
		a.Min = *p.Min
	}
	if p.Max != nil {
		a.Max = *p.Max
	}
	return a
}

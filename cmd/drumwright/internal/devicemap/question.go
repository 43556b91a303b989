package devicemap

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"gopkg.in/yaml.v3"

	"drumwright/io/point"
)

// Question is what is to be read of a unit, to see whether it is of the kind.
type Question struct {
	Point   string
	Table   point.Table
	Address uint16
	Words   int

	at place
}

// place is what of a point matters for reading it.
type place struct {
	Table   string         `yaml:"table"`
	Address *int           `yaml:"address"`
	Type    string         `yaml:"type"`
	Order   string         `yaml:"order"`
	Scale   *float64       `yaml:"scale"`
	Offset  float64        `yaml:"offset"`
	Mask    *int           `yaml:"mask"`
	States  map[string]int `yaml:"states"`
	Open    []float64      `yaml:"open_codes"`
	Is      *float64       `yaml:"is"`
	Back    *place         `yaml:"read_back"`
}

var (
	tables = []string{"coil", "discrete_input", "holding", "input_register"}
	types  = []string{"bool", "int16", "uint16", "int32", "uint32", "float32"}
	orders = []string{"ABCD", "CDAB", "BADC", "DCBA"}
)

// Questions lists all that can be read of a device of this kind, outputs by where
// they are read back.
func (m *Map) Questions(set map[string]int) ([]Question, error) {
	v, err := m.values(set)
	if err != nil {
		return nil, err
	}
	var all []Question
	var faults []error
	ask := func(name string, n yaml.Node) {
		q, err := m.question(name, n, v)
		if err != nil {
			faults = append(faults, err)
		} else if q != nil {
			all = append(all, *q)
		}
	}
	for i, n := range m.Identity {
		ask(fmt.Sprintf("identity %d", i+1), n)
	}
	for _, name := range slices.Sorted(maps.Keys(m.Inputs)) {
		ask(name, m.Inputs[name])
	}
	for _, name := range slices.Sorted(maps.Keys(m.Outputs)) {
		ask(name, m.Outputs[name])
	}
	return all, errors.Join(faults...)
}

func (m *Map) question(name string, n yaml.Node, v map[string]int) (*Question, error) {
	text, err := m.line(n, &Use{}, v)
	if err != nil {
		return nil, err
	}
	var p place
	if err := yaml.Unmarshal([]byte(text), &p); err != nil {
		return nil, fmt.Errorf("map %s, %s: %w", m.Name, name, err)
	}
	if _, output := m.Outputs[name]; output {
		if p.Back == nil {
			return nil, nil
		}
		p.Address = p.Back.Address
		if p.Back.Table != "" {
			p.Table = p.Back.Table
		}
	}
	table := slices.Index(tables, p.Table)
	switch {
	case table < 0:
		return nil, fmt.Errorf("map %s, %s: table %q; allowed are %s", m.Name, name, p.Table, list(tables))
	case p.Address == nil || *p.Address < 0 || *p.Address > 65535:
		return nil, fmt.Errorf("map %s, %s: an address from 0 to 65535 is needed", m.Name, name)
	case p.Type != "" && !slices.Contains(types, p.Type):
		return nil, fmt.Errorf("map %s, %s: type %q; allowed are %s", m.Name, name, p.Type, list(types))
	case p.Order != "" && !slices.Contains(orders, p.Order):
		return nil, fmt.Errorf("map %s, %s: order %q; allowed are %s", m.Name, name, p.Order, list(orders))
	}
	q := &Question{Point: name, Table: point.Table(table), Address: uint16(*p.Address), Words: 1, at: p}
	if !q.Table.Bits() {
		q.Words = q.kind().Words()
	}
	return q, nil
}

func (q *Question) kind() point.Type {
	if i := slices.Index(types, q.at.Type); i >= 0 {
		return point.Type(i)
	}
	if q.Table.Bits() {
		return point.Bool
	}
	if len(q.at.States) > 0 || q.at.Is != nil {
		return point.Uint16
	}
	return point.Int16
}

// Judge says what the words mean and whether they are such as a device of this
// kind would hold.
func (q *Question) Judge(words []uint16) (said string, fits bool) {
	a := point.Access{Type: q.kind(), Order: point.Order(max(slices.Index(orders, q.at.Order), 0))}
	raw := a.Raw(words)
	switch {
	case q.Table.Bits():
		return fmt.Sprint(words[0]), true
	case q.at.Is != nil:
		return fmt.Sprintf("%v, wanted %v", raw, *q.at.Is), raw == *q.at.Is
	case len(q.at.States) > 0:
		masked := int(raw)
		if q.at.Mask != nil {
			masked &= *q.at.Mask
		}
		for _, name := range slices.Sorted(maps.Keys(q.at.States)) {
			if q.at.States[name] == masked {
				return fmt.Sprintf("%v: %s", raw, name), true
			}
		}
		return fmt.Sprintf("%v: none of %s", raw, strings.Join(slices.Sorted(maps.Keys(q.at.States)), ", ")), false
	case slices.Contains(q.at.Open, raw):
		return fmt.Sprintf("%v: open probe", raw), true
	}
	scale := 1.0
	if q.at.Scale != nil {
		scale = *q.at.Scale
	}
	return fmt.Sprintf("%v, that is %.5g", raw, raw*scale+q.at.Offset), true
}

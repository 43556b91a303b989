package profiles

import (
	"fmt"
	"math"

	"drumwright/io/point"
)

// readBack compiles where an output is read back. The layout is the output's.
func (c *pointCheck) readBack(a point.Access) point.Access {
	r, key := c.p.ReadBack, join(c.key, "read_back")
	a.EveryScans, a.Min, a.Max = r.Every, -math.MaxFloat64, math.MaxFloat64
	if r.Address != nil {
		a.Address = uint16(*r.Address)
	}
	if c.output == point.Heartbeat {
		c.source.fault(key, "read_back of the heartbeat", "outputs that stand still when nothing is changed", "take it out")
	}
	if !c.sound(key, join(key, "table"), join(c.key, "table")) {
		return a
	}
	if r.Table != "" {
		t := tables[r.Table]
		if t.Bits() != a.Table.Bits() {
			c.source.fault(join(key, "table"), r.Table, "a table of the same kind as the output's, "+a.Table.String(), "bits are read back as bits, registers as registers")
		}
		a.Table = t
	}
	if words := a.Type.Words(); int(a.Address)+max(words, a.SpanWords) > 65536 {
		c.source.fault(join(key, "address"), fmt.Sprint(a.Address), "a value that ends at register 65535", "check the address")
	}
	return a
}

// compileConstants makes Constants.
func (s *source) compileConstants(m *Machine) {
	if n := len(m.Identity); n > point.MaxConstants {
		s.fault("identity", counted(n, "constant"), fmt.Sprintf("up to %d", point.MaxConstants), "one or two for each device will do")
		return
	}
	taken := map[string]string{}
	for i := range m.Identity {
		d, key := &m.Identity[i], entry("identity", i)
		if !s.sound(key, key+".table", key+".type", key+".order", key+".is", key+".every", key+".address", key+".unit") || d.Table == "" || d.Address == nil {
			continue
		}
		c := pointCheck{source: s, m: m, p: &Point{Bus: d.Bus, Unit: d.Unit}, key: key}
		a := point.Access{
			Bus: c.bus(), Unit: uint8(d.Unit), Table: tables[d.Table], Address: uint16(*d.Address), Type: types[d.Type], Order: orders[d.Order],
			Bit: point.NoBit, Mask: 0xFFFF, Scale: 1, Min: -math.MaxFloat64, Max: math.MaxFloat64,
		}
		if p := float64(m.Scan.PeriodS); p > 0 {
			a.EveryScans = max(1, int(math.Round(float64(d.EveryS)/p)))
		}
		if int(a.Address)+a.Type.Words() > 65536 {
			s.fault(key+".address", fmt.Sprint(a.Address), "a value that ends at register 65535", "check the address and the type")
			continue
		}
		var words [2]uint16
		if _, err := a.EncodeRaw(d.Is, &words); err != nil || a.Raw(words[:]) != d.Is {
			s.fault(key+".is", fmt.Sprint(d.Is), "a number that "+d.Type+" can hold", "correct the number or the type")
			continue
		}
		where := fmt.Sprintf("bus %s unit %d %s %d", d.Bus, d.Unit, d.Table, a.Address)
		if taken[where] != "" {
			s.fault(key, where+" a second time", "each register once", "take one of them out")
			continue
		}
		taken[where] = key
		name := where
		if d.What != "" {
			name += " (" + d.What + ")"
		}
		m.Constants = append(m.Constants, Constant{Access: a, Is: d.Is, Name: name})
	}
}

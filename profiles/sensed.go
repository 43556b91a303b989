package profiles

import (
	"fmt"
	"math"

	"drumwright/io/point"
	"drumwright/io/sensor"
)

// sensed compiles what a point's sensor is, how it was corrected, and where its
// cold junction is read.
func (c *pointCheck) sensed(a *point.Access) {
	p := c.p
	a.Gain = 1
	if p.Sensor == "" {
		c.only(false, "with sensor only", "correction", "cold_junction")
		return
	}
	if c.role.Kind != point.Temperature || !c.isInput {
		c.only(false, "temperatures only", "sensor", "correction", "cold_junction")
		return
	}
	a.Sensor, _ = sensor.Named(p.Sensor) // one of the words of the enum
	if p.Correct != nil && c.sound(join(c.key, "correction"), join(c.key, "correction.gain"), join(c.key, "correction.offset")) {
		a.Gain, a.ShiftK = p.Correct.Gain, float64(p.Correct.Offset)
	}
	if lo, hi := a.Sensor.RangeC(); a.Min < lo || a.Max > hi {
		c.fault("sensor", fmt.Sprintf("%s for %v to %v °C", p.Sensor, a.Min, a.Max), fmt.Sprintf("%v to %v °C for %s", lo, hi, p.Sensor), "narrow min and max, or correct the sensor")
	}
	switch {
	case !a.Sensor.Thermocouple():
		c.only(false, "with a thermocouple only", "cold_junction")
	case p.Junction == nil && !c.given("cold_junction"):
		c.fault("cold_junction", "no such key", "with "+p.Sensor+", where the temperature of its terminals is read", "look up the register of the module, add cold_junction: {address: 8, scale: 0.1}")
	case p.Junction != nil:
		c.m.Junction[c.input] = c.junction(a)
	}
}

// junction compiles where the cold junction is read: at the point's device, as
// often as the point.
func (c *pointCheck) junction(a *point.Access) point.Access {
	p, key := c.p.Junction, join(c.key, "cold_junction")
	j := point.Access{
		Bus: a.Bus, Unit: a.Unit, Table: a.Table, Type: types[p.Type], Order: orders[p.Order], Bit: point.NoBit, Mask: 0xFFFF,
		Scale: p.Scale, Offset: p.Offset, OpenCodes: a.OpenCodes, Min: point.JunctionLoC, Max: point.JunctionHiC, EveryScans: a.EveryScans,
	}
	if p.Table != "" {
		j.Table = tables[p.Table]
	}
	if p.Address == nil || !c.sound(key, join(key, "address"), join(key, "type"), join(key, "table")) {
		return j
	}
	j.Address = uint16(*p.Address)
	if int(j.Address)+j.Type.Words() > 65536 {
		c.source.fault(join(key, "address"), fmt.Sprint(j.Address), "a value that ends at register 65535", "check the address and the type")
	}
	if p.Scale == 0 || math.IsNaN(p.Scale) {
		c.source.fault(join(key, "scale"), fmt.Sprint(p.Scale), "any number but 0", "look up the scaling of the register")
	}
	return j
}

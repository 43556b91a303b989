package profiles

import (
	"fmt"
	"math"

	"drumwright/io/point"
)

// plausible sets the range outside which a reading is bad.
func (c *pointCheck) plausible(a *point.Access) {
	if c.role.Kind == point.Temperature {
		a.Min, a.Max = -10, 450
		if c.input == point.HeaterElement {
			a.Max = 900
		}
	}
	if r := c.ranges[c.key]; r[0] != nil {
		a.Min = max(a.Min, *r[0])
	}
	if r := c.ranges[c.key]; r[1] != nil {
		a.Max = min(a.Max, *r[1])
	}
	if c.p.Min != nil {
		a.Min = *c.p.Min
	}
	if c.p.Max != nil {
		a.Max = *c.p.Max
	}
	if !(a.Min < a.Max) {
		c.fault("min", fmt.Sprint(a.Min), fmt.Sprintf("less than max, %v", a.Max), "exchange or correct them")
	}
	if c.role.Kind == point.Temperature && (a.Min < -273.15 || a.Max > 2000) {
		c.fault("max", fmt.Sprintf("%v to %v", a.Min, a.Max), "-273.15 to 2000 for a temperature", "write °C, not raw values")
	}
}

// units folds the unit in which the device counts into scale and offset, so
// that the access speaks the unit of the role: Hz for speeds, a share for
// powers.
func (c *pointCheck) units(a *point.Access) {
	switch {
	case c.isSpeed():
		perHz := 1.0
		switch c.p.In {
		case "percent":
			c.only(false, "with in: rpm only", "poles")
			if !c.given("full_scale") {
				c.fault("full_scale", "no such key", "with in: percent, the frequency at 100 %", "add full_scale: 50 Hz")
				return
			}
			perHz = float64(c.p.FullHz) / 100
		case "rpm":
			c.only(false, "with in: percent only", "full_scale")
			if c.p.Poles == 0 || c.p.Poles%2 != 0 {
				c.fault("poles", fmt.Sprint(c.p.Poles), "with in: rpm, an even number from 2 to 12", "read the motor plate")
				return
			}
			perHz = float64(c.p.Poles) / 120
		default:
			c.only(false, "with in: percent or rpm only", "full_scale", "poles")
		}
		a.Scale *= perHz
		a.Offset *= perHz
	case c.isPower():
		a.Scale /= 100
		a.Offset /= 100
	}
}

// timing turns times into scans.
func (c *pointCheck) timing(a *point.Access) {
	period := float64(c.m.Scan.PeriodS)
	if period <= 0 {
		return
	}
	refresh := float64(c.p.RefreshS)
	if !c.isInput && c.output == point.Heartbeat && !c.given("refresh") {
		refresh = 1
	}
	if refresh > 0 {
		a.RefreshScans = max(1, int(math.Round(refresh/period)))
	}
	if cy := c.p.Cycle; cy != nil && c.sound(join(c.key, "time_proportioned"), join(c.key, "time_proportioned.period"), join(c.key, "time_proportioned.min_on")) {
		if float64(cy.PeriodS) < 10*period*(1-1e-9) {
			c.fault("time_proportioned.period", cy.PeriodS.String(), "at least ten scans", "lengthen the window")
		}
		if cy.MinOnS > cy.PeriodS/2 {
			c.fault("time_proportioned.min_on", cy.MinOnS.String(), "up to half the period", "shorten it or lengthen the period")
		}
	}
	if c.isInput && a.EveryScans > 1 {
		c.oftenEnough(Seconds(float64(a.EveryScans) * period))
	}
}

// oftenEnough limits how seldom an input that can trip is read.
func (c *pointCheck) oftenEnough(every Seconds) {
	longest, why := Seconds(1), "every 1 s or more often, because it can trip"
	switch c.input {
	case point.Ambient, point.CoolingTray, point.MainsVoltage:
		return
	case point.Bean, point.InletAir, point.DrumSkin:
		longest = c.m.Limits.SensorBadS / 2
		why = "twice within limits.sensor_bad, " + c.m.Limits.SensorBadS.String()
	}
	if every > longest*(1+1e-9) {
		c.fault("every", fmt.Sprintf("%d, a reading every %v", c.p.Every, every), why, "read this point more often")
	}
}

// representable refuses an output whose largest value the register cannot hold.
func (c *pointCheck) representable(a *point.Access) {
	if a.Scale == 0 || len(c.p.States) > 0 || !c.sound(c.key) {
		return
	}
	top := 1.0
	switch c.output {
	case point.DrumSpeed:
		top = float64(c.m.Drum.MaxHz)
	case point.BlowerSpeed:
		top = float64(c.m.Air.MaxHz)
	}
	var words [2]uint16
	for _, v := range [...]float64{0, top} {
		if _, err := a.Encode(v, &words); err != nil {
			c.fault("scale", err.Error(), "a raw number that the type can hold", "check scale, offset and type")
			return
		}
	}
}

// checkOverlaps refuses two outputs in one register, except different bits of
// one word.
func (s *source) checkOverlaps(m *Machine) {
	for i := range point.NumOutputs {
		for j := range i {
			if !m.HasOut[i] || !m.HasOut[j] {
				continue
			}
			ki, kj := join("outputs", i.String()), join("outputs", j.String())
			if !s.sound(ki, ki+".bus", ki+".table", ki+".address", ki+".unit", ki+".bit", kj, kj+".bus", kj+".table", kj+".address", kj+".unit", kj+".bit") {
				continue
			}
			a, b := &m.Out[i], &m.Out[j]
			if a.Bus != b.Bus || a.Unit != b.Unit || a.Table != b.Table {
				continue
			}
			if int(a.Address)+a.Type.Words() <= int(b.Address) || int(b.Address)+b.Type.Words() <= int(a.Address) {
				continue
			}
			if a.Bit != point.NoBit && b.Bit != point.NoBit && a.Bit != b.Bit && a.Order == b.Order {
				continue
			}
			later, first := ki, kj
			if s.line(kj) > s.line(ki) {
				later, first = kj, ki
			}
			s.fault(later+".address", fmt.Sprintf("a place that %s writes too", first), "each output in a place of its own, or different bits of one word", "check the register list")
		}
	}
}

package sensor

// Kind is what a sensor is by its standard. The zero value is None: the device
// itself gives a temperature.
type Kind uint8

// The kinds.
const (
	None   Kind = iota
	Pt100       // platinum, 100 Ω at 0 °C, IEC 60751
	Pt1000      // platinum, 1000 Ω at 0 °C, IEC 60751
	TypeK       // thermocouple K
	TypeJ       // thermocouple J

	numKinds
)

var names = [numKinds]string{"", "pt100", "pt1000", "type_k", "type_j"}

// String is the name as machine files write it, "" for None.
func (k Kind) String() string { return names[k] }

// Named finds the kind with that name; "" is None.
func Named(name string) (Kind, bool) {
	for k, n := range names {
		if n == name {
			return Kind(k), true
		}
	}
	return None, false
}

// Unit is what the sensor is measured in: Ω, mV, or "" for None.
func (k Kind) Unit() string {
	switch {
	case k == None:
		return ""
	case k.Thermocouple():
		return "mV"
	}
	return "Ω"
}

// Thermocouple reports whether the sensor gives the difference between two
// temperatures, so that the one of its cold junction must be known.
func (k Kind) Thermocouple() bool { return k == TypeK || k == TypeJ }

// RangeC is the range of temperatures, °C, in which the standard's function is
// used here, both ends included.
func (k Kind) RangeC() (lo, hi float64) {
	switch k {
	case TypeK:
		return typeK.loC, typeK.hiC
	case TypeJ:
		return typeJ.loC, typeJ.hiC
	case None:
		return -273.15, 2000
	}
	return platinumLoC, platinumHiC
}

// Celsius is the temperature at which the sensor gives v, in its unit.
// junctionC is the temperature of the cold junction, °C, of no account but for
// thermocouples. ok is false if no sound sensor of the kind can give v.
func (k Kind) Celsius(v, junctionC float64) (c float64, ok bool) {
	switch k {
	case Pt100:
		return platinumC(v, 100)
	case Pt1000:
		return platinumC(v, 1000)
	case TypeK:
		return typeK.celsius(v, junctionC)
	case TypeJ:
		return typeJ.celsius(v, junctionC)
	}
	return v, v == v
}

// Electrical is what the sensor gives at a temperature, °C, in its unit, with
// its cold junction at junctionC. Beyond RangeC it is extrapolated and means
// nothing.
func (k Kind) Electrical(c, junctionC float64) float64 {
	switch k {
	case Pt100:
		return platinumOhm(c, 100)
	case Pt1000:
		return platinumOhm(c, 1000)
	case TypeK:
		return typeK.millivolts(c) - typeK.millivolts(junctionC)
	case TypeJ:
		return typeJ.millivolts(c) - typeJ.millivolts(junctionC)
	}
	return c
}

package point

// The temperatures between which a cold junction can be, °C; beyond them it is bad.
const (
	JunctionLoC = -10.0
	JunctionHiC = 80.0
)

// sensed is what a sensor's ohms or millivolts mean. Those of a thermocouple are
// left as they are, in mV: they mean nothing without the cold junction.
func (a *Access) sensed(v float64) Value {
	if a.Sensor.Thermocouple() {
		lo, hi := a.Sensor.RangeC()
		if !(v >= a.Sensor.Electrical(lo, JunctionHiC) && v <= a.Sensor.Electrical(hi, JunctionLoC)) {
			return Value{Quality: Bad, Cause: OpenProbe}
		}
		return Value{V: v, Quality: Good}
	}
	c, ok := a.Sensor.Celsius(v, 0)
	if !ok {
		return Value{Quality: Bad, Cause: OpenProbe}
	}
	return a.plausible(a.Gain*c + a.ShiftK)
}

// Compensate turns a thermocouple's millivolts, as Decode gives them, into °C.
// junction is the temperature of its cold junction, °C, as read; what is wrong
// with that is wrong with the result.
func (a *Access) Compensate(mV, junction Value) Value {
	v := mV
	v.V, v.AgeS = 0, max(mV.AgeS, junction.AgeS)
	c, ok := a.Sensor.Celsius(mV.V, junction.V)
	if ok {
		v.V = a.Gain*c + a.ShiftK
	}
	switch {
	case !mV.Usable():
	case !junction.Usable():
		v.Quality, v.Cause = Bad, NoJunction
	case !ok:
		v.Quality, v.Cause = Bad, OpenProbe
	case a.plausible(v.V).Quality != Good:
		v.Quality, v.Cause = Bad, OutOfRange
	case mV.Quality == Good:
		v.Quality, v.Cause = junction.Quality, junction.Cause
	}
	return v
}

// Uncompensate is what a thermocouple with that reading, °C, gives while its cold
// junction is at junctionC: mV, for Encode.
func (a *Access) Uncompensate(c, junctionC float64) float64 {
	return a.Sensor.Electrical(a.uncorrected(c), junctionC)
}

// uncorrected is what stands before the correction.
func (a *Access) uncorrected(c float64) float64 { return (c - a.ShiftK) / a.Gain }

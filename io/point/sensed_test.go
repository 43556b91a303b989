package point_test

import (
	"math"
	"testing"

	"drumwright/io/point"
	"drumwright/io/sensor"
)

// A Pt100 in hundredths of an ohm: 138.51 Ω is 100 °C by the table of IEC 60751
// (from memory), half a hundredth being 0.013 K.
func TestOhmsOnTheWire(t *testing.T) {
	a := number(point.Uint16, point.ABCD)
	a.Scale, a.Sensor, a.Gain, a.ShiftK, a.Min, a.Max = 0.01, sensor.Pt100, 1, 0, -10, 450
	for _, c := range []struct {
		raw     uint16
		c       float64
		quality point.Quality
		cause   point.Cause
	}{
		{13851, 100, point.Good, point.None},
		{10000, 0, point.Good, point.None},
		{9609, -10, point.Good, point.None},
		{28098, 500, point.Bad, point.OutOfRange},
		{0, 0, point.Bad, point.OpenProbe},
		{65535, 0, point.Bad, point.OpenProbe},
	} {
		v := a.Decode([]uint16{c.raw})
		if math.Abs(v.V-c.c) > 0.015 || v.Quality != c.quality || v.Cause != c.cause {
			t.Errorf("%d: %+v, want %v °C %s %s", c.raw, v, c.c, c.quality, c.cause)
		}
	}
	a.Gain, a.ShiftK = 1.01, -0.5
	if v := a.Decode([]uint16{13851}); math.Abs(v.V-(1.01*100-0.5)) > 0.02 {
		t.Errorf("corrected: %+v", v)
	}
	var w [2]uint16
	if _, err := a.Encode(100.5, &w); err != nil || w[0] != 13851 {
		t.Errorf("100.5 °C is written as %d, %v", w[0], err)
	}
}

// Type K with its cold junction at 25 °C: 7.138231 mV are 200 °C (computed
// independently, Python, from the reference function of NIST Monograph 175).
func TestMillivoltsOnTheWire(t *testing.T) {
	a := number(point.Float32, point.ABCD)
	a.Sensor, a.Gain, a.Min, a.Max = sensor.TypeK, 1, -10, 450
	mV := point.Value{V: 7.138231, Quality: point.Good, AgeS: 0.1}
	good := point.Value{V: 25, Quality: point.Good, AgeS: 0.3}
	with := func(v point.Value, change func(*point.Value)) point.Value {
		change(&v)
		return v
	}
	for _, c := range []struct {
		name         string
		mV, junction point.Value
		c            float64
		quality      point.Quality
		cause        point.Cause
	}{
		{"all well", mV, good, 200, point.Good, point.None},
		{"junction read late", mV, with(good, func(v *point.Value) { v.Quality, v.Cause = point.Uncertain, point.Timeout }), 200, point.Uncertain, point.Timeout},
		{"probe read late", with(mV, func(v *point.Value) { v.Quality, v.Cause = point.Uncertain, point.BusDown }), good, 200, point.Uncertain, point.BusDown},
		{"no junction", mV, with(good, func(v *point.Value) { v.Quality, v.Cause = point.Bad, point.Timeout }), 200, point.Bad, point.NoJunction},
		{"open probe keeps what was", with(mV, func(v *point.Value) { v.Quality, v.Cause = point.Bad, point.OpenProbe }), good, 200, point.Bad, point.OpenProbe},
		{"too hot to be", with(mV, func(v *point.Value) { v.V = 30 }), good, 744.86, point.Bad, point.OutOfRange}, // 31.0002 mV; computed by package sensor, whose tables are checked there
		{"absent", point.Value{}, good, 25, point.Absent, point.None},
	} {
		v := a.Compensate(c.mV, c.junction)
		if math.Abs(v.V-c.c) > 0.01 || c.quality != v.Quality || v.Cause != c.cause || v.AgeS != max(c.mV.AgeS, c.junction.AgeS) {
			t.Errorf("%s: %+v, want %v %s %s", c.name, v, c.c, c.quality, c.cause)
		}
		if c.quality == point.Good && math.Abs(v.V-c.c) > 2e-5 {
			t.Errorf("%s: %v, want %v", c.name, v.V, c.c)
		}
	}
	if v := a.Decode([]uint16{0x4290, 0}); v.Cause != point.OpenProbe { // 72 mV
		t.Errorf("72 mV: %+v", v)
	}
	if got := a.Uncompensate(200, 25); math.Abs(got-7.138231) > 1e-6 {
		t.Errorf("%v mV", got)
	}
}

package point_test

import (
	"encoding/binary"
	"math"
	"testing"

	"pgregory.net/rapid"

	"drumwright/io/point"
)

func wordsOf(b ...byte) []uint16 {
	var w []uint16
	for i := 0; i < len(b); i += 2 {
		w = append(w, binary.BigEndian.Uint16(b[i:]))
	}
	return w
}

func number(typ point.Type, order point.Order) point.Access {
	return point.Access{Table: point.Holding, Type: typ, Order: order, Bit: point.NoBit, Mask: 0xFFFF, Scale: 1,
		Min: math.Inf(-1), Max: math.Inf(1)}
}

// 45 B7 51 24, seen on a wire as 51 24 45 B7, is a meter's 5866.143 (published
// question on a power meter); in IEEE 754 single precision these bytes are
// 5866.142578125 (computed independently), which rounds to it. The integers are two's complement by definition. 022B hex,
// 0 and 64 hex are the registers of the example of function 3 in the Modbus
// application protocol V1.1b3, there given as 555, 0 and 100; 000A hex that of
// function 4, given as 10.
func TestNumbersOnTheWire(t *testing.T) {
	const meter = 5866.142578125
	if math.Abs(meter-5866.143) > 0.0005 {
		t.Error("does not round to what the meter showed")
	}
	for _, c := range []struct {
		typ   point.Type
		order point.Order
		wire  []byte
		want  float64
	}{
		{point.Float32, point.ABCD, []byte{0x45, 0xB7, 0x51, 0x24}, meter},
		{point.Float32, point.CDAB, []byte{0x51, 0x24, 0x45, 0xB7}, meter},
		{point.Float32, point.BADC, []byte{0xB7, 0x45, 0x24, 0x51}, meter},
		{point.Float32, point.DCBA, []byte{0x24, 0x51, 0xB7, 0x45}, meter},
		{point.Uint16, point.ABCD, []byte{0x02, 0x2B}, 555},
		{point.Int16, point.ABCD, []byte{0x00, 0x00}, 0},
		{point.Int16, point.CDAB, []byte{0x00, 0x64}, 100},
		{point.Uint16, point.ABCD, []byte{0x00, 0x0A}, 10},
		{point.Int16, point.ABCD, []byte{0xFF, 0xFF}, -1},
		{point.Int16, point.ABCD, []byte{0x80, 0x00}, -32768},
		{point.Uint16, point.ABCD, []byte{0xFF, 0xFF}, 65535},
		{point.Int16, point.BADC, []byte{0xFE, 0xFF}, -2},
		{point.Int16, point.DCBA, []byte{0xFE, 0xFF}, -2},
		{point.Int32, point.ABCD, []byte{0xFF, 0xFE, 0x79, 0x60}, -100000},
		{point.Int32, point.CDAB, []byte{0x79, 0x60, 0xFF, 0xFE}, -100000},
		{point.Uint32, point.ABCD, []byte{0x00, 0x01, 0x86, 0xA0}, 100000},
		{point.Uint32, point.DCBA, []byte{0xA0, 0x86, 0x01, 0x00}, 100000},
		{point.Uint32, point.ABCD, []byte{0xFF, 0xFF, 0xFF, 0xFF}, 4294967295},
	} {
		a := number(c.typ, c.order)
		got := a.Raw(wordsOf(c.wire...))
		if got != c.want {
			t.Errorf("%v %v % x = %v, want %v", c.typ, c.order, c.wire, got, c.want)
		}
		var dst [2]uint16
		n, err := a.EncodeRaw(c.want, &dst)
		if err != nil || n != len(c.wire)/2 {
			t.Fatalf("%v %v: %d words, %v", c.typ, c.order, n, err)
		}
		for i, w := range wordsOf(c.wire...) {
			if dst[i] != w {
				t.Errorf("%v %v: %v goes out as %04x, want % x", c.typ, c.order, c.want, dst[:n], c.wire)
			}
		}
	}
}

var (
	types  = []point.Type{point.Int16, point.Uint16, point.Int32, point.Uint32, point.Float32}
	orders = []point.Order{point.ABCD, point.CDAB, point.BADC, point.DCBA}
)

// Every pattern of bits comes back as it was, in every type and order.
func TestRawRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := number(rapid.SampledFrom(types).Draw(t, "type"), rapid.SampledFrom(orders).Draw(t, "order"))
		words := []uint16{rapid.Uint16().Draw(t, "first"), rapid.Uint16().Draw(t, "second")}[:a.Type.Words()]
		raw := a.Raw(words)
		if math.IsNaN(raw) {
			t.Skip("a pattern of no number")
		}
		var dst [2]uint16
		n, err := a.EncodeRaw(raw, &dst)
		if err != nil || n != len(words) {
			t.Fatalf("%d words, %v", n, err)
		}
		for i := range words {
			if dst[i] != words[i] {
				t.Fatalf("%04x came back as %04x", words, dst[:n])
			}
		}
	})
}

// A value comes back within half a step of its register.
func TestScaledRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		a := number(rapid.SampledFrom(types).Draw(t, "type"), rapid.SampledFrom(orders).Draw(t, "order"))
		a.Scale = rapid.SampledFrom([]float64{1, 0.1, 0.01, -0.1, 2.5}).Draw(t, "scale")
		a.Offset = rapid.SampledFrom([]float64{0, -273.15, 100}).Draw(t, "offset")
		v := rapid.Float64Range(-300, 3000).Draw(t, "value")
		var dst [2]uint16
		if _, err := a.Encode(v, &dst); err != nil {
			raw := (v - a.Offset) / a.Scale
			lo, hi := map[point.Type]float64{point.Int16: -32768}[a.Type], map[point.Type]float64{point.Int16: 32767, point.Uint16: 65535, point.Uint32: 1e9, point.Int32: 1e9}[a.Type]
			if a.Type == point.Float32 || a.Type == point.Int32 || raw >= lo && raw <= hi {
				t.Fatalf("refused: %v", err)
			}
			return
		}
		got := a.Decode(dst[:])
		if got.Quality != point.Good || math.Abs(got.V-v) > math.Abs(a.Scale)/2+1e-3 {
			t.Fatalf("%v came back as %+v", v, got)
		}
	})
}

func TestDecodeQuality(t *testing.T) {
	probe := number(point.Int16, point.ABCD)
	probe.Scale, probe.Min, probe.Max, probe.OpenCodes = 0.1, -10, 450, []float64{32767, -32768}
	float := number(point.Float32, point.ABCD)
	float.Min, float.Max = 0, 100
	drive := number(point.Uint16, point.ABCD)
	drive.Mask, drive.States = 0x000F, []point.State{{Raw: 1, Value: point.DriveRunning}, {Raw: 0, Value: point.DriveStopped}, {Raw: 8, Value: point.DriveFault}}
	whole := drive
	whole.Mask = 0
	swapped := drive
	swapped.Order = point.BADC
	for _, c := range []struct {
		name  string
		a     point.Access
		words []uint16
		want  point.Value
	}{
		{"in range", probe, []uint16{1840}, point.Value{V: 184, Quality: point.Good}},
		{"at the limit", probe, []uint16{4500}, point.Value{V: 450, Quality: point.Good}},
		{"beyond", probe, []uint16{4501}, point.Value{V: 450.1, Quality: point.Bad, Cause: point.OutOfRange}},
		{"open", probe, []uint16{0x7FFF}, point.Value{Quality: point.Bad, Cause: point.OpenProbe}},
		{"shorted", probe, []uint16{0x8000}, point.Value{Quality: point.Bad, Cause: point.OpenProbe}},
		{"not a number", float, []uint16{0x7FC0, 0}, point.Value{Quality: point.Bad, Cause: point.OpenProbe}},
		{"infinite", float, []uint16{0x7F80, 0}, point.Value{Quality: point.Bad, Cause: point.OpenProbe}},
		{"running, other bits set", drive, []uint16{0xAB01}, point.Value{V: 1, Quality: point.Good}},
		{"running, bytes swapped", swapped, []uint16{0x01AB}, point.Value{V: 1, Quality: point.Good}},
		{"fault", drive, []uint16{8}, point.Value{V: 2, Quality: point.Good}},
		{"unlisted", drive, []uint16{3}, point.Value{Quality: point.Bad, Cause: point.UnknownState}},
		{"no mask, other bits set", whole, []uint16{0xAB01}, point.Value{Quality: point.Bad, Cause: point.UnknownState}},
		{"no mask", whole, []uint16{1}, point.Value{V: 1, Quality: point.Good}},
	} {
		got := c.a.Decode(c.words)
		if math.Abs(got.V-c.want.V) > 1e-9 || got.Quality != c.want.Quality || got.Cause != c.want.Cause || got.AgeS != 0 {
			t.Errorf("%s: %+v, want %+v", c.name, got, c.want)
		}
	}
}

func TestContacts(t *testing.T) {
	for _, inverted := range []bool{false, true} {
		for _, table := range []point.Table{point.Coil, point.DiscreteInput} {
			a := point.Access{Table: table, Bit: point.NoBit, Inverted: inverted}
			for raw := range uint16(2) {
				if got := a.Decode([]uint16{raw}); got.Quality != point.Good || (got.V == 1) != ((raw == 1) != inverted) {
					t.Errorf("%v inverted %v raw %d: %+v", table, inverted, raw, got)
				}
			}
		}
		for bit := range int8(16) {
			for _, order := range orders {
				a := number(point.Uint16, order)
				a.Bit, a.Inverted = bit, inverted
				var on, off [2]uint16
				a.Encode(1, &on)
				a.Encode(0, &off)
				if !a.Decode(on[:1]).On() || !a.Decode(off[:1]).Off() || on[0]^off[0] == 0 || on[0]&off[0] != 0 {
					t.Errorf("bit %d %v inverted %v: on %04x off %04x", bit, order, inverted, on[0], off[0])
				}
			}
		}
	}
}

func TestEncodeRefusesWhatDoesNotFit(t *testing.T) {
	noScale := number(point.Float32, point.ABCD)
	noScale.Scale = 0
	command := number(point.Uint16, point.ABCD)
	command.States = []point.State{{Raw: 0x47F, Value: 1}, {Raw: 0x47E, Value: 0}}
	for _, c := range []struct {
		name string
		a    point.Access
		v    float64
	}{
		{"above int16", number(point.Int16, point.ABCD), 32768},
		{"below int16", number(point.Int16, point.ABCD), -32769},
		{"negative in uint16", number(point.Uint16, point.ABCD), -1},
		{"above uint32", number(point.Uint32, point.ABCD), 4294967296},
		{"beyond single precision", number(point.Float32, point.ABCD), 1e39},
		{"not a number", number(point.Float32, point.ABCD), math.NaN()},
		{"infinite", number(point.Int16, point.ABCD), math.Inf(1)},
		{"no scale", noScale, 1},
		{"unlisted command", command, 2},
	} {
		dst := [2]uint16{0xBEEF, 0xBEEF}
		if n, err := c.a.Encode(c.v, &dst); err == nil || n != 0 || dst != [2]uint16{0xBEEF, 0xBEEF} {
			t.Errorf("%s: wrote %d words %04x", c.name, n, dst)
		}
	}
	var dst [2]uint16
	if n, err := command.Encode(1, &dst); err != nil || n != 1 || dst[0] != 0x47F {
		t.Errorf("command: %04x %v", dst[0], err)
	}
}

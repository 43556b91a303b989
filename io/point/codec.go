package point

import (
	"fmt"
	"math"

	"drumwright/io/sensor"
)

// words puts two registers, as they stand on the wire, into the order ABCD; it is
// its own inverse.
func (o Order) words(w0, w1 uint16) (hi, lo uint16) {
	switch o {
	case CDAB:
		return w1, w0
	case BADC:
		return swap(w0), swap(w1)
	case DCBA:
		return swap(w1), swap(w0)
	}
	return w0, w1
}

func swap(w uint16) uint16 { return w<<8 | w>>8 }

// one puts a single word into the protocol's byte order.
func (o Order) one(w uint16) uint16 {
	if o == BADC || o == DCBA {
		return swap(w)
	}
	return w
}

// Raw is the number in the registers before scaling; exact for every type.
func (a *Access) Raw(words []uint16) float64 {
	switch a.Type {
	case Int16:
		return float64(int16(a.Order.one(words[0])))
	case Int32, Uint32, Float32:
		hi, lo := a.Order.words(words[0], words[1])
		u := uint32(hi)<<16 | uint32(lo)
		switch a.Type {
		case Int32:
			return float64(int32(u))
		case Float32:
			return float64(math.Float32frombits(u))
		}
		return float64(u)
	}
	return float64(a.Order.one(words[0]))
}

// Decode converts what was read into a value. For bit tables words[0] is 0 or
// 1. words must hold Type.Words() registers. The age is left at zero.
func (a *Access) Decode(words []uint16) Value {
	if a.Table.Bits() {
		return a.contact(words[0] != 0)
	}
	if len(a.States) > 0 {
		w := a.Order.one(words[0])
		if a.Mask != 0 {
			w &= a.Mask
		}
		for _, s := range a.States {
			if s.Raw == w {
				return Value{V: s.Value, Quality: Good}
			}
		}
		return Value{Quality: Bad, Cause: UnknownState}
	}
	if a.Bit != NoBit {
		return a.contact(a.Order.one(words[0])>>uint(a.Bit)&1 != 0)
	}
	raw := a.Raw(words)
	for _, c := range a.OpenCodes {
		if raw == c {
			return Value{Quality: Bad, Cause: OpenProbe}
		}
	}
	if math.IsNaN(raw) || math.IsInf(raw, 0) {
		return Value{Quality: Bad, Cause: OpenProbe}
	}
	if a.Type == Bool {
		return a.contact(raw != 0)
	}
	v := raw*a.Scale + a.Offset
	if a.Sensor != sensor.None {
		return a.sensed(v)
	}
	return a.plausible(v)
}

// plausible is a value as far as its range goes.
func (a *Access) plausible(v float64) Value {
	if !(v >= a.Min && v <= a.Max) {
		return Value{V: v, Quality: Bad, Cause: OutOfRange}
	}
	return Value{V: v, Quality: Good}
}

func (a *Access) contact(on bool) Value {
	v := Value{Quality: Good}
	if on != a.Inverted {
		v.V = 1
	}
	return v
}

// Encode converts a value to registers and returns how many words of dst it
// filled. For bit tables dst[0] is 0 or 1. A bit of a word is encoded as that
// bit alone: whoever writes the word adds up the bits that share it.
// It fails, writing nothing, if the value cannot be represented.
func (a *Access) Encode(v float64, dst *[2]uint16) (int, error) {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0, fmt.Errorf("value %v cannot be written", v)
	}
	on := (v >= 0.5) != a.Inverted
	switch {
	case a.Table.Bits():
		dst[0] = bit(on)
		return 1, nil
	case len(a.States) > 0:
		for _, s := range a.States {
			if s.Value == v {
				dst[0] = a.Order.one(s.Raw)
				return 1, nil
			}
		}
		return 0, fmt.Errorf("value %v has no entry among the states of the command word", v)
	case a.Bit != NoBit:
		dst[0] = a.Order.one(bit(on) << uint(a.Bit))
		return 1, nil
	case a.Type == Bool:
		dst[0] = a.Order.one(bit(on))
		return 1, nil
	}
	if a.Sensor != sensor.None && !a.Sensor.Thermocouple() {
		v = a.Sensor.Electrical(a.uncorrected(v), 0)
	}
	raw := (v - a.Offset) / a.Scale
	if a.Type == Float32 && !(math.Abs(raw) <= math.MaxFloat32) {
		return 0, fmt.Errorf("value %v gives the raw number %g, outside float32", v, raw)
	}
	return a.encodeRaw(raw, v, dst)
}

// EncodeRaw lays a raw number out in registers, for a device's side of the
// wire (a module's code for an open probe, a counter).
func (a *Access) EncodeRaw(raw float64, dst *[2]uint16) (int, error) {
	return a.encodeRaw(raw, raw, dst)
}

func (a *Access) encodeRaw(raw, v float64, dst *[2]uint16) (int, error) {
	var u uint32
	if a.Type == Float32 {
		u = math.Float32bits(float32(raw))
	} else {
		lo, hi := a.Type.limits()
		r := math.RoundToEven(raw)
		if !(r >= lo && r <= hi) {
			return 0, fmt.Errorf("value %v gives the raw number %.0f, outside %s (%.0f to %.0f)", v, r, a.Type, lo, hi)
		}
		u = uint32(int64(r))
	}
	if a.Type.Words() == 1 {
		dst[0] = a.Order.one(uint16(u))
		return 1, nil
	}
	dst[0], dst[1] = a.Order.words(uint16(u>>16), uint16(u))
	return 2, nil
}

func (t Type) limits() (lo, hi float64) {
	switch t {
	case Int16:
		return math.MinInt16, math.MaxInt16
	case Uint16:
		return 0, math.MaxUint16
	case Int32:
		return math.MinInt32, math.MaxInt32
	}
	return 0, math.MaxUint32
}

func bit(on bool) uint16 {
	if on {
		return 1
	}
	return 0
}

// WordBit is the mask of the access's bit within its register as it stands on
// the wire.
func (a *Access) WordBit() uint16 { return a.Order.one(1 << uint(a.Bit)) }

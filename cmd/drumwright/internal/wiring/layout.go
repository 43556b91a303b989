package wiring

import (
	"fmt"
	"math"
	"strings"

	"drumwright/io/point"
)

// reading is one way to read registers.
type reading struct {
	point.Order
	point.Type
	times float64
	value float64
}

func (r reading) String() string {
	text := fmt.Sprintf("order %s, type %s", r.Order, r.Type)
	if r.times != 1 {
		text += fmt.Sprintf(", scale × %g", r.times)
	}
	return fmt.Sprintf("%s: %.5g", text, r.value)
}

// readings are all ways to read a point's registers as a number, the one of the
// machine file first: with another layout, or with a scale off by a power of ten.
// junctionC is the cold junction of a thermocouple, °C.
func readings(a *point.Access, words []uint16, junctionC float64) []reading {
	types := []point.Type{a.Type}
	for _, t := range [...]point.Type{point.Int16, point.Uint16, point.Int32, point.Uint32, point.Float32} {
		if t != a.Type && t.Words() == a.Type.Words() {
			types = append(types, t)
		}
	}
	orders := [...]point.Order{point.ABCD, point.CDAB, point.BADC, point.DCBA}
	var out []reading
	for _, times := range [...]float64{1, 0.1, 10, 0.01, 100} {
		for _, t := range types {
			for k := range orders {
				o := orders[(k+int(a.Order))%len(orders)]
				if a.Type.Words() == 1 && (o == point.CDAB || o == point.DCBA) && o != a.Order {
					continue // the same as another for one word
				}
				b := *a
				b.Order, b.Type = o, t
				raw := b.Raw(words)
				v, sound := a.Sensor.Celsius(raw*a.Scale*times+a.Offset, junctionC)
				if !sound || math.IsNaN(v) || math.IsInf(v, 0) || times != 1 && (o != a.Order || t != a.Type) {
					continue // one mistake at a time
				}
				out = append(out, reading{o, t, times, v})
			}
		}
	}
	return out
}

// fitting picks the readings that lie in a span. They are told apart from the
// machine file's by what must be changed.
func fitting(a *point.Access, words []uint16, junctionC, lo, hi float64) (fit []reading) {
	for _, r := range readings(a, words, junctionC) {
		if r.value >= lo && r.value <= hi && !(r.Order == a.Order && r.Type == a.Type && r.times == 1) {
			fit = append(fit, r)
		}
	}
	return fit
}

// faultOf says what kind of fault a better reading speaks for.
func (r reading) faultOf(a *point.Access) string {
	if r.Order != a.Order || r.Type != a.Type {
		return Layout
	}
	return Scale
}

// raw shows registers as they stand on the wire.
func raw(words []uint16) string {
	parts := make([]string, len(words))
	for i, w := range words {
		parts[i] = fmt.Sprintf("%04X", w)
	}
	return strings.Join(parts, " ")
}

// power is the power of ten by which a reading is off, 0 for none that is clear.
func power(seen, want float64) float64 {
	if !(seen > 0 && want > 0) {
		return 0
	}
	for _, p := range [...]float64{10, 100, 1000, 0.1, 0.01, 0.001} {
		if r := seen / want / p; r > 0.75 && r < 1.35 {
			return p
		}
	}
	return 0
}

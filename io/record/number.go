package record

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"
)

// Number is a number as programs outside see it. One that is not finite is not
// known, and written as null: JSON has no other word for it, and 0 would be a
// lie. It is written to a millionth of its unit, finer than any sensor here.
type Number float64

// Unknown is the number that nobody knows.
var Unknown = Number(math.NaN())

// Known reports whether the number is one.
func (n Number) Known() bool { return !math.IsNaN(float64(n)) && !math.IsInf(float64(n), 0) }

// MarshalJSON implements json.Marshaler.
func (n Number) MarshalJSON() ([]byte, error) {
	if !n.Known() {
		return []byte("null"), nil
	}
	v := float64(n)
	if r := math.Round(v*1e6) / 1e6; !math.IsInf(r, 0) {
		v = r
	}
	if v == 0 {
		v = 0 // no "-0"
	}
	format := byte('f')
	if math.Abs(v) >= 1e21 {
		format = 'e'
	}
	return strconv.AppendFloat(nil, v, format, -1, 64), nil
}

// UnmarshalJSON implements json.Unmarshaler; null is Unknown.
func (n *Number) UnmarshalJSON(b []byte) error {
	if bytes.Equal(b, []byte("null")) {
		*n = Unknown
		return nil
	}
	return json.Unmarshal(b, (*float64)(n))
}

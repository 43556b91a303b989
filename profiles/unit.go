package profiles

import (
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
)

// unit is one way to write a quantity. The held number is
// number × 10^exp, or (number + add)·mul/div where mul is set.
type unit struct {
	name          string
	exp           int
	add, mul, div float64
}

// dimension is how one type of quantity is written.
type dimension struct {
	units []unit              // the first is the usual one
	show  func(v float64) int // which unit to print in; nil = the first
	sum   bool                // parts may be added up: "2 min 30 s"
}

// bySize prints in the smaller unit below 1 and in the first otherwise.
func bySize(small int, below float64) func(float64) int {
	return func(v float64) int {
		if v != 0 && math.Abs(v) < below {
			return small
		}
		return 0
	}
}

var (
	celsius    = &dimension{units: []unit{{name: "°C"}, {name: "C"}, {name: "°F", add: -32, mul: 5, div: 9}, {name: "F", add: -32, mul: 5, div: 9}}}
	kelvins    = &dimension{units: []unit{{name: "K"}}}
	kelvinRate = &dimension{units: []unit{{name: "K/s"}, {name: "K/min", mul: 1, div: 60}}}
	seconds    = &dimension{sum: true, units: []unit{{name: "s"}, {name: "ms", exp: -3}, {name: "min", mul: 60, div: 1}, {name: "h", mul: 3600, div: 1}}, show: bySize(1, 1)}
	kilograms  = &dimension{units: []unit{{name: "kg"}, {name: "g", exp: -3}}, show: bySize(1, 1)}
	share      = &dimension{units: []unit{{name: "%", exp: -2}}}
	skinSpeed  = &dimension{units: []unit{{name: "mm/s"}}}
	kgPerHour  = &dimension{units: []unit{{name: "kg/h"}}}
	watts      = &dimension{units: []unit{{name: "kW", exp: 3}, {name: "W"}}, show: bySize(1, 1000)}
	hertz      = &dimension{units: []unit{{name: "Hz"}}}
	metres     = &dimension{units: []unit{{name: "m"}, {name: "mm", exp: -3}}, show: bySize(1, 1)}
	jPerK      = &dimension{units: []unit{{name: "kJ/K", exp: 3}, {name: "J/K"}}, show: bySize(1, 1000)}
	wPerK      = &dimension{units: []unit{{name: "W/K"}}}
	volts      = &dimension{units: []unit{{name: "V"}}}
	amperes    = &dimension{units: []unit{{name: "A"}}}
	rpm        = &dimension{units: []unit{{name: "rpm"}}}
)

var dimensions = map[reflect.Type]*dimension{
	reflect.TypeFor[Celsius]():    celsius,
	reflect.TypeFor[Kelvins]():    kelvins,
	reflect.TypeFor[KelvinRate](): kelvinRate,
	reflect.TypeFor[Seconds]():    seconds,
	reflect.TypeFor[Kilograms]():  kilograms,
	reflect.TypeFor[Share]():      share,
	reflect.TypeFor[SkinSpeed]():  skinSpeed,
	reflect.TypeFor[KgPerHour]():  kgPerHour,
	reflect.TypeFor[Watts]():      watts,
	reflect.TypeFor[Hertz]():      hertz,
	reflect.TypeFor[Metres]():     metres,
	reflect.TypeFor[JPerK]():      jPerK,
	reflect.TypeFor[WPerK]():      wPerK,
	reflect.TypeFor[Volts]():      volts,
	reflect.TypeFor[Amperes]():    amperes,
	reflect.TypeFor[RPM]():        rpm,
}

// dimensionOf finds how a field is written: by its type, or by its unit tag for
// a plain number that has a unit of its own.
func dimensionOf(t reflect.Type, tag reflect.StructTag) *dimension {
	if d, ok := dimensions[t]; ok {
		return d
	}
	if u, ok := tag.Lookup("unit"); ok {
		d := &dimension{}
		for _, name := range strings.Split(u, "|") {
			d.units = append(d.units, unit{name: name})
		}
		return d
	}
	return nil
}

// names lists the units for messages.
func (d *dimension) names() string {
	var b strings.Builder
	for i, u := range d.units {
		switch {
		case i == 0:
		case i == len(d.units)-1:
			b.WriteString(" or ")
		default:
			b.WriteString(", ")
		}
		b.WriteString(u.name)
	}
	return b.String()
}

// example is a number with the usual unit.
func (d *dimension) example() string { return "12 " + d.units[0].name }

var blanks = strings.NewReplacer("\u00a0", " ", "\u202f", " ", "\u2009", " ")

// parse reads a number with its unit. The error says what to do.
func (d *dimension) parse(text string) (float64, error) {
	rest := strings.Trim(blanks.Replace(text), " ")
	if rest == "" {
		return 0, fmt.Errorf("write a number and a unit, such as %s", d.example())
	}
	total, last := 0.0, math.Inf(1)
	for parts := 0; rest != ""; parts++ {
		if parts > 0 && !d.sum {
			return 0, fmt.Errorf("write one number and one unit, such as %s", d.example())
		}
		number := leadingNumber(rest)
		if number == "" {
			return 0, fmt.Errorf("begin with a plain decimal number, such as %s", d.example())
		}
		rest = strings.TrimLeft(rest[len(number):], " ")
		name := rest
		if d.sum {
			if i := strings.IndexAny(rest, " 0123456789-"); i >= 0 {
				name = rest[:i]
			}
		}
		if name == "" {
			return 0, fmt.Errorf("add the unit: %s", d.names())
		}
		u, ok := d.named(name)
		if !ok {
			if strings.HasPrefix(name, ",") {
				return 0, fmt.Errorf("write a decimal point, not a comma")
			}
			return 0, fmt.Errorf("use the unit %s", d.names())
		}
		v, err := u.value(number)
		if err != nil {
			return 0, err
		}
		if d.sum {
			size, _ := u.value("1")
			if size >= last || (parts > 0 && v < 0) {
				return 0, fmt.Errorf("write the parts from large to small, each once: 1 h 2 min 30 s")
			}
			last = size
		}
		total += v
		rest = strings.TrimLeft(rest[len(name):], " ")
	}
	return total, nil
}

func (d *dimension) named(name string) (unit, bool) {
	for _, u := range d.units {
		if u.name == name {
			return u, true
		}
	}
	return unit{}, false
}

// value converts a written number. Powers of ten are left to the decimal
// conversion, so that 14 % is the number nearest to 0.14.
func (u unit) value(number string) (float64, error) {
	if u.mul == 0 {
		number += "e" + strconv.Itoa(u.exp)
	}
	v, err := strconv.ParseFloat(number, 64)
	if err == nil && u.mul != 0 {
		v = (v + u.add) * u.mul / u.div
	}
	if err != nil || math.IsInf(v, 0) {
		return 0, fmt.Errorf("write a number that is not absurdly large")
	}
	return v, nil
}

// leadingNumber is the decimal number at the start of s: sign, digits, and at
// most one point with digits on both sides.
func leadingNumber(s string) string {
	i := 0
	if i < len(s) && s[i] == '-' {
		i++
	}
	whole := i
	for i < len(s) && s[i] >= '0' && s[i] <= '9' {
		i++
	}
	if i == whole {
		return ""
	}
	if i+1 < len(s) && s[i] == '.' && s[i+1] >= '0' && s[i+1] <= '9' {
		i++
		for i < len(s) && s[i] >= '0' && s[i] <= '9' {
			i++
		}
	}
	return s[:i]
}

// text writes v with a unit such that parse gives v again.
func (d *dimension) text(v float64) string {
	if d.sum && v >= 60 && !math.IsInf(v, 0) {
		if s := sumText(v); s != "" {
			return s
		}
	}
	i := 0
	if d.show != nil {
		i = d.show(v)
	}
	u := d.units[i]
	return shifted(v, -u.exp) + " " + u.name
}

// sumText writes a time of a minute or more in hours, minutes and seconds, or
// gives "" where that would not read back as the same number.
func sumText(v float64) string {
	h := math.Floor(v / 3600)
	m := math.Floor((v - 3600*h) / 60)
	rest := v - 3600*h - 60*m
	decimals := 0
	if _, frac, ok := strings.Cut(strconv.FormatFloat(v, 'f', -1, 64), "."); ok {
		decimals = len(frac)
	}
	var parts []string
	if h > 0 {
		parts = append(parts, shifted(h, 0)+" h")
	}
	if m > 0 {
		parts = append(parts, shifted(m, 0)+" min")
	}
	if rest > 0 {
		parts = append(parts, strconv.FormatFloat(rest, 'f', decimals, 64)+" s")
	}
	s := strings.Join(parts, " ")
	if back, err := seconds.parse(s); err != nil || back != v {
		return ""
	}
	return s
}

// shifted writes the shortest decimal number that reads back as v, with its
// point moved by exp places.
func shifted(v float64, exp int) string {
	if v == 0 {
		return "0"
	}
	s := strconv.FormatFloat(v, 'e', -1, 64)
	mantissa, e, ok := strings.Cut(s, "e")
	if !ok { // NaN or Inf
		return s
	}
	sign := ""
	if mantissa[0] == '-' {
		sign, mantissa = "-", mantissa[1:]
	}
	digits := strings.Replace(mantissa, ".", "", 1)
	power, _ := strconv.Atoi(e)
	at := 1 + power + exp
	switch {
	case at <= 0:
		return sign + "0." + strings.Repeat("0", -at) + digits
	case at >= len(digits):
		return sign + digits + strings.Repeat("0", at-len(digits))
	}
	return sign + digits[:at] + "." + digits[at:]
}

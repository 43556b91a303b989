package profiles

import (
	"fmt"
	"reflect"
)

// Quantities, each written with a unit in files and held in the unit that its
// type names.
type (
	Celsius    float64 // "184 °C" or "184 C"; "363 °F" is converted
	Kelvins    float64 // a difference: "8 K"
	KelvinRate float64 // K/s: "4 K/s", "20 K/min"
	Seconds    float64 // "100 ms", "2 min 30 s", "1 h"
	Kilograms  float64 // "820 g", "1 kg"
	Share      float64 // "14 %", held as 0..1
	SkinSpeed  float64 // mm/s: "428 mm/s"
	KgPerHour  float64 // air mass flow: "40 kg/h"
	Watts      float64 // "4 kW", "1200 W"
	Hertz      float64 // "50 Hz"
	Metres     float64 // "108 mm", "0.2 m"
	JPerK      float64 // "160 J/K", "1.2 kJ/K"
	WPerK      float64 // "20 W/K"
	Volts      float64 // "230 V"
	Amperes    float64 // "8 A"
	RPM        float64 // "1420 rpm"
)

// Quantity is any of the quantity types.
type Quantity interface {
	~float64
	fmt.Stringer
}

// ParseQuantity reads a quantity as files write it. The error names what was
// found and what to do.
func ParseQuantity[T Quantity](text string) (T, error) {
	d, ok := dimensions[reflect.TypeFor[T]()]
	if !ok {
		return 0, fmt.Errorf("%T is not a quantity of a machine or recipe file", T(0))
	}
	v, err := d.parse(text)
	if err != nil {
		return 0, fmt.Errorf("quantity %s: %w", shown(text), err)
	}
	return T(v), nil
}

// The String methods write a quantity with its unit; ParseQuantity reads the
// same number back.

func (v Celsius) String() string    { return celsius.text(float64(v)) }
func (v Kelvins) String() string    { return kelvins.text(float64(v)) }
func (v KelvinRate) String() string { return kelvinRate.text(float64(v)) }
func (v Seconds) String() string    { return seconds.text(float64(v)) }
func (v Kilograms) String() string  { return kilograms.text(float64(v)) }
func (v Share) String() string      { return share.text(float64(v)) }
func (v SkinSpeed) String() string  { return skinSpeed.text(float64(v)) }
func (v KgPerHour) String() string  { return kgPerHour.text(float64(v)) }
func (v Watts) String() string      { return watts.text(float64(v)) }
func (v Hertz) String() string      { return hertz.text(float64(v)) }
func (v Metres) String() string     { return metres.text(float64(v)) }
func (v JPerK) String() string      { return jPerK.text(float64(v)) }
func (v WPerK) String() string      { return wPerK.text(float64(v)) }
func (v Volts) String() string      { return volts.text(float64(v)) }
func (v Amperes) String() string    { return amperes.text(float64(v)) }
func (v RPM) String() string        { return rpm.text(float64(v)) }

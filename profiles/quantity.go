package profiles

// Quantities, each written with a unit in files and held in the unit that its
// type names.
type (
	Celsius    float64 // "184 °C"; "363 °F" is read and shown as both
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

package calibrate

import (
	"fmt"
	"math"
)

// saturation are the coefficients of region 4 of IAPWS-IF97 (International
// Association for the Properties of Water and Steam, R7-97, table 34; from
// memory, held against its check values in the test).
var saturation = [...]float64{0, 0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
	0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3}

// BoilingC is the temperature at which pure water boils under a pressure in hPa,
// °C, by equation 31 of IAPWS-IF97. Allowed is 500 to 1100 hPa.
func BoilingC(hPa float64) (float64, error) {
	if !(hPa >= 500 && hPa <= 1100) {
		return 0, fmt.Errorf("pressure is %g hPa, allowed is 500 to 1100 hPa: give the pressure at the place, not reduced to sea level", hPa)
	}
	n := &saturation
	b := math.Pow(hPa/1e4, 0.25) // of the pressure in MPa
	e := b*b + n[3]*b + n[6]
	f := n[1]*b*b + n[4]*b + n[7]
	g := n[2]*b*b + n[5]*b + n[8]
	d := 2 * g / (-f - math.Sqrt(f*f-4*e*g))
	return (n[10]+d-math.Sqrt((n[10]+d)*(n[10]+d)-4*(n[9]+n[10]*d)))/2 - 273.15, nil
}

// WeatherHPa is how far the pressure of a day may lie from that of the standard
// atmosphere, about 95 % (common practice, no source).
const WeatherHPa = 25.0

// PressureHPa is the pressure of the standard atmosphere (ISO 2533, ICAO) at an
// altitude in metres, hPa; constants from memory. Allowed is -400 to 5000 m.
func PressureHPa(altitudeM float64) (float64, error) {
	if !(altitudeM >= -400 && altitudeM <= 5000) {
		return 0, fmt.Errorf("altitude is %g m, allowed is -400 to 5000 m", altitudeM)
	}
	return 1013.25 * math.Pow(1-0.0065*altitudeM/288.15, 5.25588), nil
}

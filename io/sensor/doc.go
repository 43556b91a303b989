// Package sensor turns what a resistance thermometer or a thermocouple gives by
// nature, ohms or millivolts, into degrees Celsius and back: IEC 60751 for
// platinum, the ITS-90 reference functions of NIST Monograph 175 (the same in
// IEC 60584-1) for types K and J.
//
// It reads nothing and knows no machine. What a sensor of its kind cannot give
// is no temperature: an open or shorted one is told, never rounded to a number.
//
// All of it is pure functions; any goroutine may call them.
package sensor

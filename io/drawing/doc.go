// Package drawing draws a drum in cross-section as an SVG page: bed, shoulder
// and toe, the beans' path, shaft, paddles and the place of the bean probe, to a
// scale that can be measured on the print.
//
// It is not for working anything out: every length in it comes from
// control/drum. Invariant: the same figures give the same bytes. Functions only,
// any goroutine may call them.
package drawing

// Package probe finds what one charge tells of the bean probe: its lag in the
// bed, and how much of what it feels is bed and how much is air.
//
// It is not for use in a scan: it looks at a recorded charge afterwards.
// Invariant: what the charge cannot tell is refused or has a wide uncertainty.
// Functions only, any goroutine may call them.
package probe

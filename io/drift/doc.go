// Package drift tells whether a figure of a machine still moves only by chance:
// control charts of individual values (Shewhart) and of their exponentially
// weighted mean. It is not for readings within a batch, which follow each other
// too closely to be independent.
//
// Equations and constants follow the NIST/SEMATECH e-Handbook of Statistical
// Methods, sections 6.3.2.2 (individuals) and 6.3.2.4 (EWMA). They hold for
// values that scatter about normally; warnings come by chance too, some three in
// a thousand values.
//
// Invariant: values that are not known are left out, never taken for zero. There
// is no state; any goroutine may call it.
package drift

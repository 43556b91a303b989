// Package identify fits the figures of a machine file to what a journal holds
// of the machine: how its heater, drum, bed and bean probe answered to power and
// air in some batches and a warm-up. It says how sure each figure is, what is
// left over, and which figures the data cannot tell apart.
//
// It knows the controller's own simple model of the machine, so a figure is as
// true as that model; it decides nothing and writes nothing.
//
// Invariant: the same data give the same figures, and every figure lies within
// a factor of three of the file's. Functions are safe for concurrent use.
package identify

// Package point names what a roaster is measured and moved by: the fixed roles
// of its inputs and outputs, the quality of a value, the image of one scan, and
// how a role's number sits in Modbus registers.
//
// It is a leaf: no transport, no clock, no goroutine. Its one invariant is that
// a value which is not good is never silently replaced by a number that looks
// good. All types are plain values; nothing here is safe for concurrent writes.
package point

// Package recordtest holds one scan in the middle of a roast, filled so that
// every part of a record says something, for the tests of all that is fed from
// records. It is not for anything else; its numbers are invented.
//
// Invariant: a call returns the same scan each time. Any goroutine may call it.
package recordtest

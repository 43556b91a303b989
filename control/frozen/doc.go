// Package frozen writes a Go value with everything below it as bytes, and fills
// another one from them: also fields that are not exported, so that whoever holds
// state need not list it twice, and a field that is added is not forgotten.
//
// It is for numbers, strings, arrays, structs, slices, and pointers that form a
// tree. Functions stay as the target has them. Maps, channels and interfaces are
// refused: their order or their contents cannot be written faithfully. It is no
// file format: the bytes fit the program that wrote them, which Shape tells.
//
// Invariant: what was loaded is equal to the bit, NaN included. No goroutines.
package frozen

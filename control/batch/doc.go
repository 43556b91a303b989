// Package batch is the sequence of a roast as one table: states, transitions
// with one guard each, and the reason that is logged when one is taken.
//
// It decides nothing but the state. What a state does to loops and outputs is
// package control's business; what may be written is package safety's. There is
// no clock here: time comes in with the facts.
package batch

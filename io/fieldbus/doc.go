// Package fieldbus carries inputs and outputs over Modbus TCP and RTU: grouped
// reads of all buses in parallel, writes of what a safety.Permit allows, and the
// health of every unit.
//
// It does not judge plausibility beyond the machine file and decides nothing
// about the process. Its invariant: a reply that does not fit its request in
// every checkable way never becomes a good value, and nothing is written that
// no gate has permitted.
//
// Open, Read, Write and Close belong to one goroutine, the scan loop. Stats and
// Transactions may be called from any, and so may HeatOff, which goes past a
// scan that is stuck. Every bus is owned by one goroutine at a time: the first
// TCP bus by the scan loop itself, each other one by a worker; its line is used
// in turns of whole transactions.
package fieldbus

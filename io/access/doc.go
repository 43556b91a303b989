// Package access knows who may do what over the network interface: accounts with
// hashed passwords in a file of their own, sessions, and how often somebody may try
// to sign in. It is not for the machine's own safety: what makes a machine safe
// needs no account at all.
//
// Invariant: no password and no token of a session is kept as it is, a file that
// cannot be read lets nobody in, and tries from afar cannot lock out those at the
// machine.
//
// Goroutines: a Book may be used from anywhere; Edit also from other processes.
package access

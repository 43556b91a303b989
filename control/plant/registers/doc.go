// Package registers puts a simulated machine on Modbus: it serves the readings
// of package plant, and takes its commands, in the register layout of the
// machine file it is given. So any machine file can be simulated without code
// of its own, and any other Modbus master can talk to it.
//
// Modbus TCP is served by another library than the controller's client on
// purpose, so that a misreading of the protocol cannot cancel out. No library at
// hand serves RTU; that side is written here, from the specification and apart
// from the client's, and is held against published frames and a master by other
// hands. Serial lines are pseudo-terminals, never real devices. Broadcasts are
// not carried out.
//
// A Server is safe for concurrent use: the physics move in Advance, clients are
// answered from the registers as the last Advance left them. Set its exported
// fields before Listen.
package registers

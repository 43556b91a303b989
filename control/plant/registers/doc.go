// Package registers puts a simulated machine on Modbus: it serves the readings
// of package plant, and takes its commands, in the register layout of the
// machine file it is given. So any machine file can be simulated without code
// of its own, and any other Modbus master can talk to it.
//
// The server side is another library than the controller's client on purpose,
// so that a misreading of the protocol cannot cancel out.
//
// A Server is safe for concurrent use: the physics move in Advance, clients are
// answered from the registers as the last Advance left them.
package registers

// Package registers puts a simulated machine on Modbus TCP and RTU: the readings
// and commands of package plant in the register layout of any machine file.
//
// Its TCP side is another library than the controller's client, so that a
// misreading of the protocol cannot cancel out. No library at hand serves RTU:
// that side is written here, apart from the client's, and is held against
// published frames and a master by other hands. A serial line is always a
// pseudo-terminal, never a real device; broadcasts are not carried out.
//
// Exchange answers the same frames within the program, for days in lockstep; it
// is held against both.
//
// A Server is safe for concurrent use once Listen has returned; set its fields
// before. The physics move in Advance only.
package registers

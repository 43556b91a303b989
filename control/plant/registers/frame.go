package registers

import "encoding/binary"

// maxFrame is the longest frame of a serial line: address, 253 bytes of PDU,
// checksum (Modbus over serial line V1.02, value from memory).
const maxFrame = 256

// assembler puts the bytes of a serial line together to request frames.
//
// A frame of a known function ends with its length. One of an unknown function
// can only be told by the silence after it. Bytes that make no frame, or one
// with a wrong checksum, are dropped with all that follows until the line is
// silent: after an error nobody knows where the next frame begins.
type assembler struct {
	buf     [maxFrame]byte
	n       int
	garbage bool
}

// take adds a byte and returns the frame that it ends, or nil. The frame holds
// until the next call.
func (a *assembler) take(b byte) []byte {
	if a.garbage {
		return nil
	}
	if a.n == len(a.buf) {
		a.garbage = true
		return nil
	}
	a.buf[a.n] = b
	a.n++
	want, known := frameBytes(a.buf[:a.n])
	if !known || a.n < want {
		return nil
	}
	frame := a.buf[:a.n]
	a.n = 0
	if a.garbage = crc(frame) != 0; a.garbage {
		return nil
	}
	return frame
}

// silence tells that the line has been quiet for the time between two frames.
// It returns the frame of an unknown function that has ended by it, or nil.
func (a *assembler) silence() []byte {
	frame := a.buf[:a.n]
	broken := a.garbage
	a.n, a.garbage = 0, false
	if len(frame) < 4 || broken || crc(frame) != 0 {
		return nil
	}
	return frame
}

// waits reports whether a silence would change anything.
func (a *assembler) waits() bool { return a.n > 0 || a.garbage }

// frameBytes is the length of the request that begins with these bytes;
// not known while the bytes that tell it are missing, and never for functions
// that no unit here has.
func frameBytes(b []byte) (n int, known bool) {
	if len(b) < 2 {
		return 0, false
	}
	switch b[1] {
	case 1, 2, 3, 4, 5, 6:
		return 8, true
	case 15, 16:
		if len(b) < 7 {
			return 0, false
		}
		return 9 + int(b[6]), true
	}
	return 0, false
}

// sealed puts unit address and checksum around a PDU.
func sealed(unit uint8, pdu []byte) []byte {
	f := append([]byte{unit}, pdu...)
	return binary.LittleEndian.AppendUint16(f, crc(f))
}

// crc is the checksum of Modbus over serial line V1.02, section 6.2.2 (value
// from memory); over a frame with its own checksum it is 0.
func crc(b []byte) uint16 {
	c := uint16(0xFFFF)
	for _, x := range b {
		c ^= uint16(x)
		for range 8 {
			odd := c&1 != 0
			if c >>= 1; odd {
				c ^= 0xA001
			}
		}
	}
	return c
}

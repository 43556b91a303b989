package registers

import (
	"encoding/binary"
	"errors"

	"drumwright/io/point"
)

// Exception codes and the most that one request may carry (Modbus application
// protocol V1.1b3, sections 6 and 7; values from memory).
const (
	illegalFunction = 1
	illegalAddress  = 2
	illegalValue    = 3
	deviceFailure   = 4

	maxReadBits   = 2000
	maxReadWords  = 125
	maxWriteBits  = 1968
	maxWriteWords = 123
)

// answer is the reply to a request PDU: function code and data without address
// and checksum. It is nil if the unit does not answer.
func (s *Server) answer(bus int, unit uint8, pdu []byte) []byte {
	if !s.speaks(bus, unit) {
		return nil
	}
	r, exception := parse(pdu)
	if exception == 0 {
		r.bus, r.unit = bus, unit
		w, err := s.do(r)
		switch {
		case err == nil:
			return reply(pdu, &r, w)
		case errors.Is(err, errSilent):
			return nil
		case errors.Is(err, errCollision): // bits of two replies on one pair of wires
			return []byte{pdu[0] ^ 0x55, 0xAA, 0x5A}
		case errors.Is(err, errRefused):
			exception = deviceFailure
		default:
			exception = illegalAddress
		}
	}
	return []byte{pdu[0] | 0x80, exception}
}

// parse reads a request PDU. It looks at function, then quantity or value; the
// address comes after them, when the request is carried out. That is the order
// of the specification's state diagrams, so a request that is wrong in several
// ways is refused for the first of them.
func parse(pdu []byte) (r request, exception byte) {
	function := pdu[0]
	switch function {
	case 1, 5, 15:
		r.table = point.Coil
	case 2:
		r.table = point.DiscreteInput
	case 3, 6, 16:
		r.table = point.Holding
	case 4:
		r.table = point.InputRegister
	default:
		return r, illegalFunction
	}
	if len(pdu) < 5 {
		return r, illegalValue
	}
	v := binary.BigEndian.Uint16(pdu[3:])
	r.addr, r.count = binary.BigEndian.Uint16(pdu[1:]), v
	ok := true
	switch function {
	case 1, 2:
		ok = v >= 1 && v <= maxReadBits
	case 3, 4:
		ok = v >= 1 && v <= maxReadWords
	case 5:
		ok = v == 0 || v == 0xFF00
		r.count, r.set = 1, []uint16{v >> 15}
	case 6:
		r.count, r.set = 1, []uint16{v}
	case 15:
		ok = v >= 1 && v <= maxWriteBits && carries(pdu, (int(v)+7)/8)
		if ok {
			r.set = unpack(pdu[6:], int(v))
		}
	case 16:
		ok = v >= 1 && v <= maxWriteWords && carries(pdu, 2*int(v))
		for i := 0; ok && i < int(v); i++ {
			r.set = append(r.set, binary.BigEndian.Uint16(pdu[6+2*i:]))
		}
	}
	if !ok {
		return r, illegalValue
	}
	return r, 0
}

// carries reports whether a write of several says that it has n bytes of data
// and has them.
func carries(pdu []byte, n int) bool {
	return len(pdu) == 6+n && int(pdu[5]) == n
}

// reply makes the reply of a request that was carried out.
func reply(pdu []byte, r *request, w []uint16) []byte {
	switch {
	case r.set != nil: // function, address and quantity or value come back
		return append([]byte(nil), pdu[:5]...)
	case r.table.Bits():
		packed := pack(w)
		return append([]byte{pdu[0], byte(len(packed))}, packed...)
	}
	out := []byte{pdu[0], byte(2 * len(w))}
	for _, v := range w {
		out = binary.BigEndian.AppendUint16(out, v)
	}
	return out
}

// unpack and pack: the bit at the lowest address is the lowest of the first
// byte; what is left of the last byte is 0.
func unpack(b []byte, n int) []uint16 {
	w := make([]uint16, n)
	for i := range w {
		w[i] = uint16(b[i/8] >> (i % 8) & 1)
	}
	return w
}

func pack(w []uint16) []byte {
	b := make([]byte, (len(w)+7)/8)
	for i, v := range w {
		if v != 0 {
			b[i/8] |= 1 << (i % 8)
		}
	}
	return b
}

package registers

import "encoding/binary"

// Exchange answers a frame on one bus within the program, without a socket or a
// pseudo-terminal: what comes back at once, and what comes when the master has
// given up; nil = nothing. A serial bus takes and gives frames with a checksum, a
// TCP bus such with the header of Modbus TCP. It is for lockstep: who asks knows
// at once that no reply will come. Listen is not needed for it.
func (s *Server) Exchange(bus int, frame []byte) (reply, late []byte) {
	serial := s.m.BusList[bus].RTU != nil
	if serial {
		reply = s.onLine(bus, frame)
	} else {
		reply = s.onTCP(bus, frame)
	}
	if reply == nil {
		return nil, nil
	}
	switch what, _ := s.wires[bus].next(); {
	case what == lateReply:
		return nil, reply
	case what == dropped && serial:
		return nil, nil
	case what == corrupt && serial:
		reply[len(reply)-1] ^= 0xFF
	case what == foreign && serial:
		reply = sealed(frame[0]+1, reply[1:len(reply)-2])
	case what == dropped || what == corrupt:
		return headed(frame, []byte{frame[headerBytes] | 0x80, noReply}), nil
	}
	return reply, nil
}

func (s *Server) onLine(bus int, frame []byte) []byte {
	if len(frame) < 4 || crc(frame) != 0 {
		return nil
	}
	pdu := s.answer(bus, frame[0], frame[1:len(frame)-2])
	if pdu == nil {
		return nil
	}
	return sealed(frame[0], pdu)
}

// headerBytes is the length of the header of Modbus TCP: transaction, protocol,
// length of what follows, unit (Modbus messaging on TCP/IP V1.0b, section 3.1;
// value from memory).
const headerBytes = 7

// noReply is the exception by which a gateway tells that a unit gave no reply
// (Modbus application protocol V1.1b3, section 7; value from memory).
const noReply = 0x0B

func (s *Server) onTCP(bus int, frame []byte) []byte {
	if len(frame) <= headerBytes || binary.BigEndian.Uint16(frame[2:]) != 0 || int(binary.BigEndian.Uint16(frame[4:])) != len(frame)-headerBytes+1 {
		return nil
	}
	pdu := frame[headerBytes:]
	r, exception := parse(pdu)
	if exception == 0 {
		r.bus, r.unit = bus, frame[6]
		w, err := s.do(r)
		switch err {
		case nil:
			return headed(frame, reply(pdu, &r, w))
		case errSilent:
			return nil
		case errCollision, errNobody:
			exception = noReply
		case errRefused:
			exception = deviceFailure
		default:
			exception = illegalAddress
		}
	}
	return headed(frame, []byte{pdu[0] | 0x80, exception})
}

// headed puts the header of a reply to the request before a PDU.
func headed(request, pdu []byte) []byte {
	f := append([]byte(nil), request[:headerBytes]...)
	binary.BigEndian.PutUint16(f[4:], uint16(len(pdu)+1))
	return append(f, pdu...)
}

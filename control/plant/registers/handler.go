package registers

import (
	"github.com/simonvetter/modbus"

	"drumwright/io/point"
)

// handler answers the clients of one bus.
type handler struct {
	s   *Server
	bus int
}

// words gives f the registers of a request under the lock. A silent unit does
// not come back until it may answer again.
func (h *handler) words(unit uint8, t point.Table, addr, quantity uint16, f func([]uint16)) error {
	s := h.s
	for {
		s.mu.Lock()
		if !s.silent[bankKey{bus: h.bus, unit: unit}] {
			break
		}
		awake := s.awake
		s.mu.Unlock()
		select {
		case <-awake:
		case <-s.closed:
			return modbus.ErrGWTargetFailedToRespond
		}
	}
	defer s.mu.Unlock()
	b, ok := s.banks[bankKey{h.bus, unit, t}]
	if !ok {
		return modbus.ErrIllegalDataAddress
	}
	w, ok := b.span(addr, quantity)
	if !ok {
		return modbus.ErrIllegalDataAddress
	}
	s.requests++
	f(w)
	return nil
}

// HandleCoils answers function codes 1, 5 and 15.
func (h *handler) HandleCoils(r *modbus.CoilsRequest) (res []bool, err error) {
	err = h.words(r.UnitId, point.Coil, r.Addr, r.Quantity, func(w []uint16) {
		if r.IsWrite {
			for i, on := range r.Args {
				w[i] = 0
				if on {
					w[i] = 1
				}
			}
		}
		res = bits(w)
	})
	return res, err
}

// HandleDiscreteInputs answers function code 2.
func (h *handler) HandleDiscreteInputs(r *modbus.DiscreteInputsRequest) (res []bool, err error) {
	err = h.words(r.UnitId, point.DiscreteInput, r.Addr, r.Quantity, func(w []uint16) { res = bits(w) })
	return res, err
}

// HandleHoldingRegisters answers function codes 3, 6 and 16.
func (h *handler) HandleHoldingRegisters(r *modbus.HoldingRegistersRequest) (res []uint16, err error) {
	err = h.words(r.UnitId, point.Holding, r.Addr, r.Quantity, func(w []uint16) {
		if r.IsWrite {
			copy(w, r.Args)
		}
		res = append(res, w...)
	})
	return res, err
}

// HandleInputRegisters answers function code 4.
func (h *handler) HandleInputRegisters(r *modbus.InputRegistersRequest) (res []uint16, err error) {
	err = h.words(r.UnitId, point.InputRegister, r.Addr, r.Quantity, func(w []uint16) { res = append(res, w...) })
	return res, err
}

func bits(w []uint16) []bool {
	out := make([]bool, len(w))
	for i := range w {
		out[i] = w[i] != 0
	}
	return out
}

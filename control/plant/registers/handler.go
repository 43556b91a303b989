package registers

import (
	"errors"
	"time"

	"github.com/simonvetter/modbus"

	"drumwright/io/point"
)

// handler answers the TCP clients of one bus.
type handler struct {
	s   *Server
	bus int
}

// do carries a request out. A silent unit does not come back until it may
// answer again.
func (h *handler) do(r request) ([]uint16, error) {
	r.bus = h.bus
	for {
		awake := h.s.awakening()
		w, err := h.s.do(r)
		if errors.Is(err, errNoAddress) {
			return nil, modbus.ErrIllegalDataAddress
		}
		if errors.Is(err, errRefused) {
			return nil, modbus.ErrServerDeviceFailure
		}
		if errors.Is(err, errCollision) || errors.Is(err, errNobody) { // what a gateway makes of it
			return nil, modbus.ErrGWTargetFailedToRespond
		}
		if !errors.Is(err, errSilent) {
			return h.spoil(w, err)
		}
		select {
		case <-awake:
		case <-h.s.closed:
			return nil, modbus.ErrGWTargetFailedToRespond
		}
	}
}

// spoil does to a reply what WireFaults says.
func (h *handler) spoil(w []uint16, err error) ([]uint16, error) {
	what, by := h.s.wires[h.bus].next()
	switch what {
	case dropped, corrupt:
		return nil, modbus.ErrGWTargetFailedToRespond
	case lateReply:
		select {
		case <-time.After(by):
		case <-h.s.closed:
		}
	}
	return w, err
}

// HandleCoils answers function codes 1, 5 and 15.
func (h *handler) HandleCoils(r *modbus.CoilsRequest) ([]bool, error) {
	q := request{unit: r.UnitId, table: point.Coil, addr: r.Addr, count: r.Quantity}
	if r.IsWrite {
		q.set = make([]uint16, len(r.Args))
		for i, on := range r.Args {
			if on {
				q.set[i] = 1
			}
		}
	}
	return bits(h.do(q))
}

// HandleDiscreteInputs answers function code 2.
func (h *handler) HandleDiscreteInputs(r *modbus.DiscreteInputsRequest) ([]bool, error) {
	return bits(h.do(request{unit: r.UnitId, table: point.DiscreteInput, addr: r.Addr, count: r.Quantity}))
}

// HandleHoldingRegisters answers function codes 3, 6 and 16.
func (h *handler) HandleHoldingRegisters(r *modbus.HoldingRegistersRequest) ([]uint16, error) {
	q := request{unit: r.UnitId, table: point.Holding, addr: r.Addr, count: r.Quantity}
	if r.IsWrite {
		q.set = r.Args
	}
	return h.do(q)
}

// HandleInputRegisters answers function code 4.
func (h *handler) HandleInputRegisters(r *modbus.InputRegistersRequest) ([]uint16, error) {
	return h.do(request{unit: r.UnitId, table: point.InputRegister, addr: r.Addr, count: r.Quantity})
}

func bits(w []uint16, err error) ([]bool, error) {
	out := make([]bool, len(w))
	for i := range w {
		out[i] = w[i] != 0
	}
	return out, err
}

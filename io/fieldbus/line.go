package fieldbus

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"time"

	"github.com/goburrow/modbus"

	"drumwright/io/point"
)

// Reason sorts failed requests, for counting.
type Reason uint8

// The reasons for which a request fails.
const (
	Timeout   Reason = iota // no complete reply in time
	CRC                     // checksum of an RTU reply
	Exception               // the device answered with a Modbus exception
	Reply                   // a reply that does not fit the request
	Closed                  // the connection or port failed

	NumReasons
)

func (r Reason) String() string {
	return [...]string{"timeout", "crc", "exception", "reply", "closed"}[r]
}

// line is one connection or serial line: the transporter under the Modbus
// client. It is used by one goroutine at a time.
type line interface {
	modbus.Transporter
	// connect tries once to open the line and waits for the outcome.
	connect(ctx context.Context) error
	// ready reports whether a request may be sent now. It opens a closed line
	// in the background and waits for that at most until openBy; it waits for
	// silence only if that ends before the deadline.
	ready(openBy, deadline time.Time) error
	// arm sets the time by which the next Send has to return.
	arm(deadline time.Time)
	// wire estimates how long the bytes of a request and its reply take.
	wire(request, reply int) time.Duration
	// distrust drops whatever may still be under way.
	distrust()
	isOpen() bool
	// whyClosed is what the last attempt to open failed with.
	whyClosed() error
	// stillOpen finds out, without a request, whether the other side has
	// closed the line; it is for buses that have nothing to read.
	stillOpen() error
	close() error
}

// lineError is a failed transaction.
type lineError struct {
	reason Reason
	text   string
	err    error
}

func (e *lineError) Error() string {
	if e.err != nil {
		return e.text + ": " + e.err.Error()
	}
	return e.text
}

func (e *lineError) Unwrap() error { return e.err }

// Errors of ready: nothing was sent, so nothing is counted.
var (
	errNotOpen = errors.New("not open")
	errQuiet   = errors.New("waiting for the line to fall quiet after an error")
	errNoTime  = errors.New("no time left in the scan")
)

// unsent reports an error of readiness: no request went out.
func unsent(err error) bool { return err == errNotOpen || err == errQuiet || err == errNoTime }

// reasonOf sorts the error of a request.
func reasonOf(err error) Reason {
	var le *lineError
	if errors.As(err, &le) {
		return le.reason
	}
	var me *modbus.ModbusError
	if errors.As(err, &me) {
		return Exception
	}
	return Reply
}

// causeOf says what an error means for the values that were asked for.
func causeOf(err error) point.Cause {
	if err == errNotOpen {
		return point.BusDown
	}
	if unsent(err) || unitSilent(err) {
		return point.Timeout
	}
	switch reasonOf(err) {
	case Exception:
		return point.Refused
	case Closed:
		return point.BusDown
	}
	return point.WrongReply
}

// unitSilent reports whether the error says that the unit itself does not
// answer: a time-out, or a gateway that reports one.
func unitSilent(err error) bool {
	var me *modbus.ModbusError
	if errors.As(err, &me) {
		return me.ExceptionCode == modbus.ExceptionCodeGatewayTargetDeviceFailedToRespond ||
			me.ExceptionCode == modbus.ExceptionCodeGatewayPathUnavailable
	}
	return reasonOf(err) == Timeout
}

// checkReply holds a reply PDU against its request: function, byte count
// against the quantity asked for, echo of address and value or quantity.
// Exceptions pass; the client above turns them into errors.
func checkReply(request, reply []byte) error {
	if len(reply) < 2 {
		return fmt.Errorf("reply of %d bytes", len(reply))
	}
	if reply[0] == request[0]|0x80 {
		if len(reply) != 2 {
			return fmt.Errorf("exception of %d bytes, want 2", len(reply))
		}
		return nil
	}
	if reply[0] != request[0] {
		return fmt.Errorf("function %d answered with %d", request[0], reply[0])
	}
	if want := replyLen(request); len(reply) != want {
		return fmt.Errorf("reply of %d bytes to function %d, want %d", len(reply), request[0], want)
	}
	switch request[0] {
	case modbus.FuncCodeReadCoils, modbus.FuncCodeReadDiscreteInputs,
		modbus.FuncCodeReadHoldingRegisters, modbus.FuncCodeReadInputRegisters:
		if int(reply[1]) != len(reply)-2 {
			return fmt.Errorf("byte count %d, want %d", reply[1], len(reply)-2)
		}
	default:
		if !bytes.Equal(reply[1:5], request[1:5]) {
			return fmt.Errorf("echo % x does not repeat % x", reply[1:5], request[1:5])
		}
	}
	return nil
}

// replyLen is the length of the reply PDU that a request PDU must get.
func replyLen(request []byte) int {
	quantity := int(binary.BigEndian.Uint16(request[3:]))
	switch request[0] {
	case modbus.FuncCodeReadCoils, modbus.FuncCodeReadDiscreteInputs:
		return 2 + (quantity+7)/8
	case modbus.FuncCodeReadHoldingRegisters, modbus.FuncCodeReadInputRegisters:
		return 2 + 2*quantity
	}
	return 5
}

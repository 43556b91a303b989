package point

import "drumwright/io/sensor"

// Table is one of the four Modbus address spaces.
type Table uint8

// The tables with their function codes (Modbus application protocol V1.1b3).
const (
	Coil          Table = iota // read 1, write 5 or 15
	DiscreteInput              // read 2
	Holding                    // read 3, write 6 or 16
	InputRegister              // read 4
)

func (t Table) String() string {
	return [...]string{"coil", "discrete_input", "holding", "input_register"}[t]
}

// Bits reports whether the table holds single bits.
func (t Table) Bits() bool { return t == Coil || t == DiscreteInput }

// Type is how a number is laid out in registers.
type Type uint8

// The register types.
const (
	Bool Type = iota
	Int16
	Uint16
	Int32
	Uint32
	Float32
)

func (t Type) String() string {
	return [...]string{"bool", "int16", "uint16", "int32", "uint32", "float32"}[t]
}

// Words is the number of 16-bit registers that a value of this type fills.
func (t Type) Words() int {
	if t >= Int32 {
		return 2
	}
	return 1
}

// Order is the order of the bytes of a value on the wire. ABCD is the
// protocol's own: high word first, high byte first.
type Order uint8

// The four orders. For one-word types ABCD and CDAB are high byte first, BADC
// and DCBA low byte first.
const (
	ABCD Order = iota
	CDAB       // low word first
	BADC       // high word first, bytes of each word swapped
	DCBA       // low word first, bytes swapped
)

func (o Order) String() string { return [...]string{"ABCD", "CDAB", "BADC", "DCBA"}[o] }

// NoBit marks an access that is not one bit of a word.
const NoBit = -1

// State maps one raw value of a command or status word to a meaning: for a
// status one of DriveStopped, DriveRunning, DriveFault; for a contact 0 or 1.
type State struct {
	Raw   uint16
	Value float64
}

// Access says where a point's value sits and how it is converted. Exactly one
// of the conversions applies, looked for in this order: States (after Mask),
// Bit, bool tables and types, number.
//
// A number is raw·Scale + Offset on reading, (value − Offset)/Scale on writing. With
// a Sensor that is in ohms or millivolts: Decode and Encode speak °C for resistance
// thermometers, and mV for thermocouples, which Compensate turns into °C once the
// cold junction is known, as Uncompensate does for a device's side of the wire.
type Access struct {
	Bus     int // index into the machine's buses
	Unit    uint8
	Table   Table
	Address uint16 // as in the protocol data unit, counted from 0
	Type    Type
	Order   Order
	Bit     int8   // 0..15: one bit of a word; NoBit otherwise
	Mask    uint16 // with States: the bits that count; 0 = all
	States  []State

	Scale, Offset float64
	Sensor        sensor.Kind // what Scale and Offset lead to is in its unit, not in °C
	Gain, ShiftK  float64     // with Sensor: true = Gain·converted + ShiftK, as calibrated
	Inverted      bool        // contacts: the raw 1 means 0
	OpenCodes     []float64   // raw values by which the module reports an open probe
	Min, Max      float64     // plausible range in engineering units; values outside are bad
	EveryScans    int         // read every n-th scan, 1 = each
	Alone         bool        // never read together with neighbours
	SpanWords     int         // registers that must be read or written as one, from Address; 0 = Type.Words()

	// Writing.
	Multiple     bool // use function 15 or 16 also for one value
	RefreshScans int  // write again after n scans even if unchanged, 0 = on change only
}

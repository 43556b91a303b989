package record

// Bound is what holds the bean loop back from its curve.
type Bound uint8

// The bounds. At BoundInletHigh beans would scorch, as the machine file says.
const (
	Unbound Bound = iota
	BoundInletHigh
	BoundInletLow
	BoundExhaust
	BoundSlew
	BoundAirHeater
	BoundAirFlow
)

func (b Bound) String() string {
	return [...]string{"", "highest inlet air", "lowest inlet air", "exhaust", "slew of the inlet air", "air heater", "air flow"}[b]
}

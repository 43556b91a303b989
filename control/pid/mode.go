package pid

// Mode says where a loop's output and set point come from.
type Mode uint8

const (
	// Manual puts out the operator's value. It is the zero value, so that a
	// loop nobody has switched on does not control.
	Manual Mode = iota
	// Auto controls to the operator's set point.
	Auto
	// Cascade controls to the set point of an outer loop.
	Cascade
)

// SetPoint picks the set point that belongs to the mode. Manual keeps the
// local one in view.
func (m Mode) SetPoint(local, remote float64) float64 {
	if m == Cascade {
		return remote
	}
	return local
}

// String gives the word the operator sees.
func (m Mode) String() string {
	switch m {
	case Auto:
		return "automatic"
	case Cascade:
		return "cascaded"
	default:
		return "manual"
	}
}

package safety

import "drumwright/io/point"

// Wishes is what control asks of every output, in the engineering unit of the
// role (point.Output). Roles that the machine has not are ignored.
type Wishes struct {
	Out [point.NumOutputs]float64
}

// Permit is what may be written in this scan. Only a Gate makes one that is
// issued; the zero Permit is not, and the fieldbus refuses it.
type Permit struct {
	out    [point.NumOutputs]float64
	left   [point.NumOutputs]bool // says nothing about that output
	issued bool
}

// Issued reports whether a gate made this permit.
func (p *Permit) Issued() bool { return p.issued }

// Value is the permitted value of an output in its engineering unit.
func (p *Permit) Value(o point.Output) float64 { return p.out[o] }

// Values copies all permitted values, for the record.
func (p *Permit) Values() [point.NumOutputs]float64 { return p.out }

// Covers reports whether this permit says anything about that output. Outputs
// it does not cover stay as they are.
func (p *Permit) Covers(o point.Output) bool { return !p.left[o] }

// leave takes outputs out of the permit.
func (p *Permit) leave(outputs ...point.Output) {
	for _, o := range outputs {
		p.out[o], p.left[o] = 0, true
	}
}

// IsHeat reports whether an output can heat something.
func IsHeat(o point.Output) bool {
	return o == point.AirHeaterPower || o == point.RadiantPower || o == point.HeatEnable
}

// HeatOff is the permit that is written before anything else at start and
// first of all at stop: heaters to zero and the contactor open. Drum, air and
// cooling stay as they are, because hot beans may still be in the drum. It
// needs no inputs.
func HeatOff() Permit {
	p := Permit{issued: true}
	for o := range point.NumOutputs {
		if !IsHeat(o) {
			p.leave(o)
		}
	}
	return p
}

package pid

// DeltaSigma turns a duty into on and off slot by slot: the finest ripple and
// the most switching. One slot is one call, at best a whole number of mains
// cycles. The zero value is ready.
type DeltaSigma struct {
	owed float64 // slots
}

// Step gives the state for this slot. A duty of 0 or less, or no number,
// switches off and clears what is owed; above 1 counts as 1.
func (d *DeltaSigma) Step(duty float64) bool {
	if !(duty > 0) {
		d.owed = 0
		return false
	}
	d.owed += min(duty, 1)
	// The hair keeps duties such as 0.6, which add up to whole numbers, from
	// slipping by a slot through rounding.
	if d.owed < 1-1e-9 {
		return false
	}
	d.owed--
	return true
}

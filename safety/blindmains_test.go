package safety_test

import (
	"testing"

	"drumwright/io/point"
)

// A voltage that cannot be read does not hide a heater that draws current
// unasked: the rated voltage is near enough to tell a twentieth of rated power.
func TestCurrentUnaskedWithoutVoltage(t *testing.T) {
	r := newRig(t, fullMachine())
	r.roast()
	r.bad(point.MainsVoltage, point.Timeout, 9) // a roast can do without it
	r.wishNoHeat()
	r.fixed[point.AirHeaterCurrent] = true
	r.set(point.AirHeaterCurrent, 0.49) // of 10 A rated
	r.runS(3)
	if r.g.Tripped() {
		t.Fatalf("latched %v", r.g.Latched())
	}
	r.set(point.AirHeaterCurrent, 0.51)
	if r.runS(3); !r.latched("air_current_unasked") {
		t.Errorf("a welded switch is not seen: latched %v", r.g.Latched())
	}
}

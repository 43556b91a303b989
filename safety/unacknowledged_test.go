package safety_test

import (
	"testing"

	"pgregory.net/rapid"

	"drumwright/io/point"
	"drumwright/profiles"
)

// slowDevice is the air heater's device behind a line that loses acknowledgements:
// what was lost takes effect some scans later, in the order it was sent, unless a
// write that is acknowledged has overtaken it.
type slowDevice struct {
	holds   float64
	pending []pendingWrite
}

type pendingWrite struct {
	value float64
	scans int // until it takes effect
}

// step moves the device on by a scan, in which it was told told. A lost write
// stays under way for so many scans.
func (d *slowDevice) step(told float64, lost bool, scans int) {
	for i := range d.pending {
		d.pending[i].scans--
	}
	for len(d.pending) > 0 && d.pending[0].scans <= 0 {
		d.holds, d.pending = d.pending[0].value, d.pending[1:]
	}
	if lost {
		d.pending = append(d.pending, pendingWrite{told, scans})
		return
	}
	d.pending = d.pending[:0] // a device serves its line in order
	d.holds = told
}

// lossy puts such a device into a rig in the middle of a roast. Each scan calls
// order, which asks for a power and says whether its acknowledgement is lost and
// for how many scans that write stays under way.
func lossy(r *rig, order func() (power float64, lost bool, scans int)) func() {
	r.roast()
	d := slowDevice{holds: r.p.Value(point.AirHeaterPower)}
	r.backHeld = true
	r.each = func(r *rig) { r.img.Back[point.AirHeaterPower].V = d.holds + r.backAdd }
	return func() {
		power, lost, scans := order()
		r.w.Out[point.AirHeaterPower] = power
		r.scan()
		d.step(r.p.Value(point.AirHeaterPower), lost, scans)
		r.unheard[point.AirHeaterPower] = lost
	}
}

// Orders whose acknowledgement is lost and that take effect later are not taken
// for those of a second master. A write may be under way for up to four scans, and
// up to four orders one after the other (estimates, common practice, no source).
func TestLateWritesAreNotForeign(t *testing.T) {
	for _, direct := range []bool{false, true} {
		rapid.Check(t, func(rt *rapid.T) {
			lost, delay, left := false, 1, 0
			r := newRig(rt, readBackAt(direct))
			scan := lossy(r, func() (float64, bool, int) {
				if left--; left < 0 {
					lost = rapid.IntRange(0, 3).Draw(rt, "line") == 0
					delay, left = rapid.IntRange(1, 4).Draw(rt, "delay"), rapid.IntRange(0, 3).Draw(rt, "for")
				}
				return float64(rapid.IntRange(0, 9).Draw(rt, "power")) / 10, lost, delay
			})
			for range 60 {
				if scan(); r.rec.Alarms.Stands("foreign_write") {
					rt.Fatalf("scan %d: taken for a second master", r.n)
				}
			}
		})
	}
}

// Once the line has been clean for a second, a second master is found; so it is
// where no acknowledgement was ever lost.
func TestForeignWriteAfterLostAcknowledgements(t *testing.T) {
	for _, direct := range []bool{false, true} {
		for _, lostScans := range []int{0, 1, 3} {
			n := 0
			r := newRig(t, readBackAt(direct))
			scan := lossy(r, func() (float64, bool, int) {
				n++
				return 0.5 - 0.1*float64(n%3), n <= lostScans, 2
			})
			for range lostScans + 10 {
				scan()
			}
			if r.rec.Alarms.Stands("foreign_write") {
				t.Fatalf("direct %v, %d lost: a second master before there is one", direct, lostScans)
			}
			r.backAdd = 0.05
			for range 2 {
				scan()
			}
			if !r.rec.Alarms.Stands("foreign_write") {
				t.Errorf("direct %v, %d lost: the second master is not found", direct, lostScans)
			}
		}
	}
}

// readBackAt is a machine that reads the air heater back where it is written, or
// elsewhere.
func readBackAt(direct bool) *profiles.Machine {
	m := fullMachine()
	if o := point.AirHeaterPower; direct {
		scale := m.Back[o].Scale
		m.Back[o] = m.Out[o]
		m.Back[o].Scale = scale
	} else {
		m.Back[o].Address = m.Out[o].Address + 1000
	}
	return m
}

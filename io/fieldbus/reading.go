package fieldbus

import "drumwright/io/point"

// Ages in scan seconds at which a value that is not refreshed loses trust.
// Common practice, no source: probes of a roaster answer in tens of seconds,
// interlocks in one or two.
const (
	uncertainAfterS = 1.0
	badAfterS       = 2.0
)

// reading is what is known of one input.
type reading struct {
	value   point.Value // as last decoded
	readS   float64     // scan time at which value.V was read
	periodS float64     // its own rhythm
	missed  point.Cause // why the last due read failed; None if it did not
}

func newReading(periodS float64) reading {
	return reading{value: point.Value{Quality: point.Bad, Cause: point.NotReadYet}, periodS: periodS}
}

// took notes a decoded value. A device that reports no number (open probe,
// unknown state) leaves the last one, growing older, for display.
func (r *reading) took(v point.Value, nowS float64) {
	r.missed = point.None
	if v.Cause == point.OpenProbe || v.Cause == point.UnknownState {
		r.value.Quality, r.value.Cause = v.Quality, v.Cause
		return
	}
	r.value, r.readS = v, nowS
}

// miss notes that a due read failed.
func (r *reading) miss(why point.Cause) { r.missed = why }

// at is the value as it stands at a scan time. A missed read makes it
// uncertain at once; it is bad after two seconds, and for points read more
// slowly at their third miss in a row.
func (r *reading) at(nowS float64) point.Value {
	v := r.value
	v.AgeS = nowS - r.readS
	if v.Quality == point.Bad {
		if v.Cause == point.NotReadYet && r.missed != point.None {
			v.Cause = r.missed
		}
		return v
	}
	why := r.missed
	if why == point.None {
		why = point.Timeout
	}
	switch {
	case v.AgeS > max(badAfterS, 2.5*r.periodS):
		v.Quality, v.Cause = point.Bad, why
	case r.missed != point.None || v.AgeS > max(uncertainAfterS, 1.5*r.periodS):
		v.Quality, v.Cause = point.Uncertain, why
	}
	return v
}

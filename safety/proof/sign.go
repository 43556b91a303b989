package proof

import (
	"fmt"
	"math"

	"drumwright/io/point"
	"drumwright/io/record"
)

// How a sign shows in the image of a scan.
const (
	ReadsOff    = "reads off"   // a contact
	ReadsOn     = "reads on"    // a contact
	ReadsBelow  = "reads below" // Level, in the unit of the role
	ReadsAtOver = "reads at or over"
	ReadsNot    = "reads other than" // a status
	GivesNone   = "gives no value"
	NotFresh    = "is not fresh" // not read in this scan; it began when it last was
	StandsStill = "stands still" // a counter; it began when the last count came
	Draws       = "draws over"   // a current: more than Level watts at the measured mains voltage
)

// sign is a sign whose role has been found, with what it remembers.
type sign struct {
	record.ProofSign
	in     point.Input
	count  float64 // last value of a counter, and the time of its last change
	sinceS float64
	known  bool
}

func newSign(s record.ProofSign) (sign, error) {
	in, ok := point.InputNamed(s.Point)
	if !ok {
		return sign{}, fmt.Errorf("proof sign: there is no input role %q", s.Point)
	}
	switch s.How {
	case ReadsOff, ReadsOn, ReadsBelow, ReadsAtOver, ReadsNot, GivesNone, NotFresh, StandsStill, Draws:
		return sign{ProofSign: s, in: in}, nil
	}
	return sign{}, fmt.Errorf("proof sign of %s: %q is not known", s.Point, s.How)
}

// shows reports whether the sign is there in this scan, and since when.
func (g *sign) shows(s *record.Scan) (bool, float64) {
	x := s.Image.In[g.in]
	if x.Quality == point.Absent {
		return false, s.ScanS
	}
	ok := x.Usable() && !math.IsNaN(x.V)
	switch g.How {
	case ReadsOff:
		return ok && x.V < 0.5, s.ScanS
	case ReadsOn:
		return ok && x.V >= 0.5, s.ScanS
	case ReadsBelow:
		return ok && x.V < g.Level, s.ScanS
	case ReadsAtOver:
		return ok && x.V >= g.Level, s.ScanS
	case ReadsNot:
		return ok && x.V != g.Level, s.ScanS
	case GivesNone:
		return !ok, s.ScanS
	case NotFresh:
		return x.Quality != point.Good, s.ScanS - x.AgeS
	case Draws:
		v := s.Image.In[point.MainsVoltage]
		return ok && v.Usable() && x.V*v.V > g.Level, s.ScanS
	}
	if ok && (!g.known || x.V != g.count) {
		g.count, g.sinceS, g.known = x.V, s.ScanS, true
	}
	return g.known && s.ScanS > g.sinceS, g.sinceS
}

package point

import "math"

const (
	// shaftMarks is how many pulse arrivals are remembered. With the spacing below
	// they reach back over the span of speed and, at up to 64 pulses in a turn,
	// over a whole turn.
	shaftMarks = 65

	// shaftSpanS is the least time over which speed is taken: two scans more or
	// less are then little at any usual scan period.
	shaftSpanS = 2.0

	// fastestTurnsPerS is faster than any roasting drum turns: beans cling to the
	// wall of a drum of 20 mm radius at 3.5 turns a second, of larger ones at less.
	fastestTurnsPerS = 6.0

	// silentTurns is how many turns' time may pass without a pulse before the
	// silence counts: one turn, if all magnets but one have come off, and a little.
	silentTurns = 1.25

	// gatherS is the longest time between two readings of the counter for which
	// all pulses are believed.
	gatherS = 4.0
)

// Shaft turns a pulse counter that rolls over into turning speed and into the
// time since the last pulse. Speed is taken over whole turns, so that unevenly
// placed magnets do not matter; the time since the last pulse is evaluated at
// every scan, not when a pulse comes, so that a stopped drum is seen to stop.
// The zero Shaft is not usable; make one with NewShaft.
type Shaft struct {
	perTurn float64
	wrap    float64
	started bool
	last    float64 // last counter reading
	movedS  float64 // scan time at which it last changed
	total   float64 // pulses since start
	lastS   float64 // scan time of the last pulse
	nowS    float64
	at      [shaftMarks]float64 // scan times at which totals were reached
	count   [shaftMarks]float64
	n       int
}

// NewShaft makes a Shaft for a counter with perTurn pulses in one drum turn
// that rolls over at wrap counts (65536 for a 16-bit register).
func NewShaft(perTurn int, wrap float64) Shaft {
	return Shaft{perTurn: float64(perTurn), wrap: wrap}
}

// Wrap is the count at which a counter of this type rolls over, 0 for never.
func (t Type) Wrap() float64 {
	switch t {
	case Int16, Uint16:
		return 1 << 16
	case Int32, Uint32:
		return 1 << 32
	}
	return 0
}

// Update takes the counter of this scan. A value that is not good counts as no
// pulse: the silence goes on. So does a jump that no drum could make: a counter
// that was reset, or one that counts noise, proves no turning.
func (s *Shaft) Update(nowS float64, v Value) {
	s.nowS = nowS
	if v.Quality != Good || math.IsNaN(v.V) || math.IsInf(v.V, 0) {
		return
	}
	if !s.started {
		s.started, s.last, s.movedS, s.lastS = true, v.V, nowS, nowS
		return
	}
	// A counter that is read only now and then gathers the pulses of that time.
	d, most := v.V-s.last, 2+fastestTurnsPerS*s.perTurn*math.Min(gatherS, nowS-s.movedS)
	if d < 0 && s.wrap > 0 {
		d += s.wrap
	}
	if d == 0 {
		return
	}
	s.last, s.movedS = v.V, nowS
	switch {
	case d < 0 || d > most:
		s.n = 0
	default:
		s.total += d
		s.lastS = nowS
		if s.n == 0 || nowS-s.at[s.n-1] >= shaftSpanS/(shaftMarks-5) {
			s.mark()
		}
	}
}

func (s *Shaft) mark() {
	if s.n == shaftMarks {
		copy(s.at[:], s.at[1:])
		copy(s.count[:], s.count[1:])
		s.n--
	}
	s.at[s.n], s.count[s.n] = s.nowS, s.total
	s.n++
}

// SilentS is the time since the last pulse, s.
func (s *Shaft) SilentS() float64 { return s.nowS - s.lastS }

// RPM is the drum speed over the last turns, at least one and at least two
// seconds of them; over whole turns where the arrivals that are remembered
// allow. It is 0 when that many pulses have not come yet, and falls towards 0
// while pulses stay out.
func (s *Shaft) RPM() float64 {
	end, best := s.n-1, -1
	for i := end - 1; i >= 0; i-- {
		pulses := s.count[end] - s.count[i]
		if pulses < s.perTurn || s.at[end]-s.at[i] < shaftSpanS {
			continue
		}
		if best < 0 {
			best = i
		}
		if math.Mod(pulses, s.perTurn) == 0 {
			best = i
			break
		}
		if pulses > s.count[end]-s.count[best]+s.perTurn {
			break
		}
	}
	if best < 0 {
		return 0
	}
	turns, span := (s.count[end]-s.count[best])/s.perTurn, s.at[end]-s.at[best]
	if silent := s.nowS - s.lastS; silent > silentTurns*span/turns {
		span += silent
	}
	return turns / span * 60
}

// Forget drops the history of speed, as after a stop.
func (s *Shaft) Forget() {
	s.n, s.lastS = 0, s.nowS
}

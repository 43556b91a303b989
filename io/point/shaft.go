package point

// shaftMarks is how many pulse arrivals are remembered: more than any drum turns
// up in two seconds of scans.
const shaftMarks = 65

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
// pulse: the silence goes on.
func (s *Shaft) Update(nowS float64, v Value) {
	s.nowS = nowS
	if v.Quality != Good {
		return
	}
	if !s.started {
		s.started, s.last, s.lastS = true, v.V, nowS
		s.mark()
		return
	}
	d := v.V - s.last
	if d < 0 && s.wrap > 0 {
		d += s.wrap
	}
	s.last = v.V
	if d <= 0 { // nothing new, or a counter that was reset: start over from here
		return
	}
	s.total += d
	s.lastS = nowS
	s.mark()
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

// RPM is the drum speed over the last whole turns, at least one turn and at
// least a second of them. It is 0 when that many pulses have not come yet, and
// falls towards 0 while pulses stay out.
func (s *Shaft) RPM() float64 {
	if s.n < 2 {
		return 0
	}
	end := s.n - 1
	for i := end - 1; i >= 0; i-- {
		turns := (s.count[end] - s.count[i]) / s.perTurn
		span := s.at[end] - s.at[i]
		if turns < 1 || span < 2 {
			continue
		}
		if silent := s.nowS - s.at[end]; silent > span/(turns*s.perTurn)*2 {
			span += silent
		}
		return turns / span * 60
	}
	return 0
}

// Forget drops the history of speed, as after a stop.
func (s *Shaft) Forget() {
	s.n = 0
	s.lastS = s.nowS
	if s.started {
		s.mark()
	}
}

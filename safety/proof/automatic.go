package proof

import (
	"drumwright/io/point"
	"drumwright/io/record"
)

// Automatic makes the tests that need nobody out of an ordinary day: that the
// air switch opens is seen before each start, that the contactor opens at each
// stop, and that the heaters' switches block in the first moment in which both
// are off for long enough while the contactor is closed; no such moment is made.
// What a trip, a silent unit or a doubtful reading spoils is left out: it says
// nothing. It follows every scan, from one goroutine.
type Automatic struct {
	runs []run
}

// run is one test as it goes on.
type run struct {
	test  *record.ProofTest
	meter *Meter // nil = not begun
	ended bool   // nothing more until its moment comes again
	offS  float64
}

// NewAutomatic takes those of the tests that can be made so.
func NewAutomatic(tests []record.ProofTest) *Automatic {
	a := &Automatic{}
	for _, id := range [...]string{"air-switch-opens", "heater-leak", "contactor"} {
		if t, ok := Find(tests, id); ok && len(t.Lacking) == 0 {
			a.runs = append(a.runs, run{test: t, offS: -1})
		}
	}
	return a
}

// coastS is how long a blower may run on before its switch is looked at
// (estimate, common practice, no source).
const coastS = 30.0

// See takes a scan and hands over what a test has shown, if one has ended.
func (a *Automatic) See(s *record.Scan, keep func(*record.ProofTest, Finding)) {
	for i := range a.runs {
		r := &a.runs[i]
		on := s.Permit[point.HeatEnable] >= 0.5
		switch {
		case s.Safety.Tripped || r.worst(s) >= point.Bad:
			r.meter, r.ended, r.offS = nil, true, -1
		case r.worst(s) == point.Good:
			r.follow(s, on, keep)
		case r.test.ID != "air-switch-opens": // a missed reading spoils what is timed
			r.meter, r.ended = nil, true
		}
	}
}

// worst is the worst quality of what the test looks at.
func (r *run) worst(s *record.Scan) point.Quality {
	worst := point.Good
	for _, g := range r.test.Signs {
		if in, ok := point.InputNamed(g.Point); ok {
			worst = max(worst, s.Image.In[in].Quality)
		}
	}
	return worst
}

func (r *run) follow(s *record.Scan, on bool, keep func(*record.ProofTest, Finding)) {
	blower := s.Permit[point.BlowerRun] >= 0.5
	begin, over := false, false // its moment has come; it is past
	switch r.test.ID {
	case "air-switch-opens":
		switch {
		case blower:
			r.offS, over = -1, true
		case r.offS < 0:
			r.offS, r.ended = s.ScanS, false
		default:
			begin = s.ScanS-r.offS >= coastS
		}
		// A pass is kept with the start that it is good for.
		if blower && !on && r.meter != nil && r.meter.Done() {
			keep(r.test, r.meter.Finding())
			r.meter, r.ended = nil, true
			return
		}
	case "heater-leak":
		off := s.Permit[point.AirHeaterPower] == 0 && s.Permit[point.RadiantPower] == 0
		if !on {
			r.ended = false
		}
		begin, over = on && off && !r.ended, !on || !off
	case "contactor":
		begin = on && s.Image.In[point.ContactorClosed].On()
		r.ended = r.ended && !begin
	}
	if begin && r.meter == nil && !r.ended {
		r.meter, _ = NewMeter(r.test)
	}
	if r.meter == nil {
		return
	}
	r.meter.See(s)
	switch {
	case r.meter.Done():
		f := r.meter.Finding()
		if f.Pass && r.test.ID == "air-switch-opens" {
			return
		}
		keep(r.test, f)
		r.meter, r.ended = nil, true
	case over:
		r.meter = nil
	}
}

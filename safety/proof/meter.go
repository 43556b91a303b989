package proof

import (
	"fmt"
	"slices"

	"drumwright/io/point"
	"drumwright/io/record"
)

// Finding is what the scans showed of a test.
type Finding struct {
	Seen        string
	MeasuredS   record.Number // reaction, or unknown
	ResolutionS record.Number // longest gap between the scans around it
	Pass        bool
	Void        string // why the scans say nothing either way; "" = they do
}

// Meter follows the scans of one test, of which none, some or most may be seen.
// It measures in scan time: from the first scan that shows the fault in the
// controller's own inputs to the first in which the gate permits no heat and the
// contactor, if its contact is wired, reads open. What lies before the input,
// such as the switch itself, and behind the output is not in it.
type Meter struct {
	test  *record.ProofTest
	signs []sign
	scans int
	lastS float64

	onset, heatBefore bool
	onsetS, onsetGapS float64

	tripped        bool
	tripS          float64
	cause, state   string
	already        string
	off, open      bool
	offS, openS    float64
	offGap, openGp float64

	watch watch
}

// afterTripS is how long the meter goes on after a trip whose heat stays on.
const afterTripS = 3.0

// NewMeter makes the meter of a test of the kinds trip and watch.
func NewMeter(t *record.ProofTest) (*Meter, error) {
	if t.Kind != record.ProofTrip && t.Kind != record.ProofWatch {
		return nil, fmt.Errorf("proof test %s: a test of the kind %s is judged by a person", t.ID, t.Kind)
	}
	m := &Meter{test: t}
	for _, s := range t.Signs {
		g, err := newSign(s)
		if err != nil {
			return nil, err
		}
		m.signs = append(m.signs, g)
	}
	return m, nil
}

// See takes the next scan. Scans seen twice are passed over.
func (m *Meter) See(s *record.Scan) {
	gap := s.ScanS - m.lastS
	if m.scans > 0 && gap <= 0 {
		return
	}
	if m.scans == 0 {
		gap = 0
		if s.Safety.Tripped {
			m.already = s.Safety.First
		}
	}
	m.scans++
	m.lastS = s.ScanS
	if m.test.Kind == record.ProofWatch {
		m.watch.see(m, s, gap)
		return
	}
	m.follow(s, gap)
}

func (m *Meter) follow(s *record.Scan, gap float64) {
	shows, since := false, s.ScanS
	for i := range m.signs {
		if on, at := m.signs[i].shows(s); on {
			shows, since = true, min(since, at)
		}
	}
	if !m.tripped {
		switch {
		case shows && !m.onset:
			m.onset, m.onsetS, m.onsetGapS = true, since, gap
		case !shows && !s.Safety.Tripped:
			m.onset = false
		}
		if !s.Safety.Tripped && (!m.onset || m.onsetS == s.ScanS) {
			m.heatBefore = s.Safety.HeatPermitted
		}
		if s.Safety.Tripped {
			m.tripped, m.tripS, m.cause, m.state = true, s.ScanS, s.Safety.First, s.Safety.SafeState
		}
	}
	if !m.tripped {
		return
	}
	if !m.off && !s.Safety.HeatPermitted && s.Permit[point.AirHeaterPower] == 0 && s.Permit[point.RadiantPower] == 0 {
		m.off, m.offS, m.offGap = true, s.ScanS, gap
	}
	c := s.Image.In[point.ContactorClosed]
	if m.off && !m.open && (c.Quality == point.Absent || c.Usable() && !c.On()) {
		m.open, m.openS, m.openGp = true, s.ScanS, gap
		if c.Quality == point.Absent {
			m.openS = m.offS
		}
	}
}

// Done reports whether further scans change nothing.
func (m *Meter) Done() bool {
	if m.already != "" {
		return true
	}
	if m.test.Kind == record.ProofWatch {
		return m.watch.done
	}
	return m.tripped && (m.open || m.lastS-m.tripS >= afterTripS)
}

// Finding says what was seen so far.
func (m *Meter) Finding() Finding {
	f := Finding{MeasuredS: record.Unknown, ResolutionS: record.Unknown}
	t := m.test
	switch {
	case m.already != "":
		f.Void = "a trip already stood: " + m.already + "; reset it and begin again"
	case t.Kind == record.ProofWatch:
		return m.watch.finding(m)
	case !m.tripped && !m.onset:
		f.Seen = "neither the fault nor a trip showed in the scans"
		f.Void = f.Seen
	case !m.tripped:
		f.Seen = fmt.Sprintf("no trip for %.1f s after the fault showed in the inputs", m.lastS-m.onsetS)
	default:
		m.judge(&f)
	}
	return f
}

func (m *Meter) judge(f *Finding) {
	t := m.test
	f.Seen = fmt.Sprintf("trip %s, safe state %s", m.cause, m.state)
	right := slices.Contains(t.Causes, m.cause) && m.state == t.SafeState
	if !right {
		return
	}
	if t.Heat == "on" && !m.heatBefore {
		f.Void = "heat was not permitted before the trip, so that taking it away proves nothing: " + f.Seen
		return
	}
	if !m.off {
		f.Seen += fmt.Sprintf("; heat still permitted %.1f s after the trip", m.lastS-m.tripS)
		return
	}
	if !m.open {
		f.Seen += fmt.Sprintf("; the contactor still reads closed %.1f s after the trip", m.lastS-m.tripS)
		return
	}
	if !m.onset {
		f.Seen += "; the fault itself did not show in any scan that was seen, so nothing was measured"
		f.Pass = true
		return
	}
	end := max(m.offS, m.openS)
	f.MeasuredS = record.Number(end - m.onsetS)
	f.ResolutionS = record.Number(max(m.onsetGapS, m.offGap, m.openGp))
	if m.heatBefore {
		f.Seen += fmt.Sprintf("; from the first scan with the fault in the inputs to no heat permitted and contactor open %.1f s", end-m.onsetS)
	} else {
		f.Seen += fmt.Sprintf("; heat was off before; from the first scan with the fault in the inputs to the trip %.1f s", m.tripS-m.onsetS)
		f.MeasuredS = record.Number(m.tripS - m.onsetS)
	}
	f.Pass = !t.LimitS.Known() || float64(f.MeasuredS) <= float64(t.LimitS)+1e-6
}

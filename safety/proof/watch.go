package proof

import (
	"fmt"

	"drumwright/io/point"
	"drumwright/io/record"
)

// Times of the tests that watch a signal, s (estimates, common practice, no
// source).
const (
	airSwitchS = 10.0 // in which the air dies away and the switch opens
	steadyS    = 2.0  // for which a signal must stand
	settleS    = 3.0  // after which a heater told to be off draws nothing
	stuckS     = 3.0  // after which a contactor counts as stuck
)

// watch follows a signal that is no trip.
type watch struct {
	armed, was, pass, done bool
	armedS, sinceS         float64
	gapS                   float64
	seen                   string
	measuredS              float64
}

func (w *watch) see(m *Meter, s *record.Scan, gap float64) {
	if w.done {
		return
	}
	if s.Safety.Tripped {
		w.end(false, fmt.Sprintf("trip %s, safe state %s", s.Safety.First, s.Safety.SafeState), -1)
		return
	}
	enabled := s.Permit[point.HeatEnable] >= 0.5
	armed := false
	switch m.test.ID {
	case "air-switch-opens":
		armed = s.Permit[point.BlowerRun] < 0.5
	case "heater-leak":
		armed = enabled && s.Permit[point.AirHeaterPower] == 0 && s.Permit[point.RadiantPower] == 0 &&
			!s.Image.In[point.ContactorClosed].Off()
	case "contactor":
		closed := enabled && s.Image.In[point.ContactorClosed].On()
		w.was = w.was || closed
		armed = w.was && !enabled
	}
	if !armed {
		w.armed = false
		return
	}
	if !w.armed {
		w.armed, w.armedS, w.sinceS, w.gapS = true, s.ScanS, -1, gap
	}
	shows := false
	for i := range m.signs {
		on, _ := m.signs[i].shows(s)
		shows = shows || on
	}
	forS := s.ScanS - w.armedS
	if !shows {
		w.sinceS = -1
	} else if w.sinceS < 0 {
		w.sinceS = s.ScanS
	}
	switch m.test.ID {
	case "air-switch-opens":
		switch {
		case shows && s.ScanS-w.sinceS >= steadyS-1e-9:
			w.end(true, fmt.Sprintf("air_proving read off for %.0f s with the blower off", steadyS), w.sinceS-w.armedS)
		case !shows && forS > airSwitchS:
			w.end(false, fmt.Sprintf("air_proving does not read off %.0f s after the blower went off", forS), -1)
		}
	case "heater-leak":
		switch {
		case forS <= settleS:
		case shows:
			w.end(false, fmt.Sprintf("a heater draws current %.1f s after it was told to be off: air_heater_current %.2f A, radiant_current %.2f A",
				forS, s.Image.In[point.AirHeaterCurrent].V, s.Image.In[point.RadiantCurrent].V), -1)
		case forS > settleS+steadyS:
			if !s.Image.In[point.AirHeaterCurrent].Usable() || !s.Image.In[point.RadiantCurrent].Usable() || !s.Image.In[point.MainsVoltage].Usable() {
				w.end(false, "currents or mains voltage cannot be read", -1)
				return
			}
			w.end(true, fmt.Sprintf("for %.0f s with the contactor closed and both heaters at 0 %% the currents were below the limit; now %.2f A and %.2f A",
				steadyS, s.Image.In[point.AirHeaterCurrent].V, s.Image.In[point.RadiantCurrent].V), -1)
		}
	case "contactor":
		switch {
		case shows:
			w.gapS = max(w.gapS, gap)
			w.end(forS <= float64(m.test.LimitS)+1e-6, fmt.Sprintf("contactor_closed read off %.1f s after the first scan that told it to open", forS), forS)
		case forS > stuckS:
			w.end(false, fmt.Sprintf("contactor_closed does not read off %.1f s after it was told to open", forS), -1)
		}
	}
}

func (w *watch) end(pass bool, seen string, measuredS float64) {
	w.done, w.pass, w.seen, w.measuredS = true, pass, seen, measuredS
}

func (w *watch) finding(m *Meter) Finding {
	f := Finding{MeasuredS: record.Unknown, ResolutionS: record.Unknown, Pass: w.pass, Seen: w.seen}
	if !w.done {
		f.Void = "what the test watches did not come about; " + m.test.Expected
	}
	if w.done && w.measuredS >= 0 {
		f.MeasuredS, f.ResolutionS = record.Number(w.measuredS), record.Number(w.gapS)
	}
	return f
}

package campaign

import (
	"slices"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// tailS is how long a run goes on after the reaction: heat must stay off.
const tailS = 15.0

// heatBeforeS is how far back heat must have been given for its end to count.
const heatBeforeS = 20.0

type tripped struct {
	cause, state string
	atS          float64
}

// watch stands beside one run, provokes, and notes what truly happens.
type watch struct {
	acts    []Act
	due     func(*record.Scan) bool // the moment has come
	ends    func(*watch) bool       // all has been seen
	since   point.Input
	sinceC  float64
	crosses bool
	err     error

	nowS     float64
	fromS    float64 // of the first act; 0 before
	clockS   float64 // from when the limit counts
	done     int
	fireUpS  float64
	before   float64 // machine time of the last heat before the fault
	heatS    float64 // machine time of the last heat since
	start    plant.Truth
	end      plant.Truth
	beanC    float64 // hottest since the fault
	skinC    float64
	skinOnC  float64 // hottest while heat was on
	elementC float64
	inletC   float64
	outS     float64 // machine time at which the beans were out; 0 = not yet
	wrong    int     // fresh values that were not what the device showed

	trips   []tripped
	warned  map[string]float64
	answers []record.Event
}

// Put notes trips, warnings and answers, at machine time.
func (w *watch) Put(s *record.Scan) {
	for i := range s.NumEvents {
		e := s.Events[i]
		switch e.Kind {
		case record.Trip:
			w.trips = append(w.trips, tripped{e.Name, s.Safety.SafeState, w.nowS})
		case record.Warning:
			if _, ok := w.warned[e.Name]; !ok {
				w.warned[e.Name] = w.nowS
			}
		case record.Accepted, record.Rejected:
			w.answers = append(w.answers, e)
		}
	}
}

// beside is called between two scans.
func (w *watch) beside(m *rehearsal.Moment) bool {
	w.see(&m.Truth)
	if w.fromS > 0 {
		w.compare(m)
	}
	if x := m.Last.Image.In[w.since]; w.crosses && w.fromS > 0 && len(w.trips) == 0 && x.Usable() {
		switch { // noise may take a reading back below once more
		case x.V < w.sinceC:
			w.clockS = 0
		case w.clockS == 0:
			w.clockS = w.nowS
		}
	}
	if w.fromS == 0 && w.due(m.Last) {
		w.fromS, w.start = w.nowS, m.Truth
		w.heatS = w.fromS
		w.beanC, w.skinC, w.skinOnC, w.elementC, w.inletC = 0, 0, 0, 0, 0
		w.see(&m.Truth)
		if !w.crosses {
			w.clockS = w.fromS
		}
	}
	if w.fireUpS > 0 && w.nowS >= w.fireUpS {
		w.fireUpS = 0
		m.Server.PressFire(false)
	}
	for w.fromS > 0 && w.done < len(w.acts) && w.nowS >= w.fromS+w.acts[w.done].AfterS-1e-6 {
		w.done++
		if err := w.act(&w.acts[w.done-1], m); err != nil {
			w.err = err
			return true
		}
	}
	return w.fromS > 0 && w.done == len(w.acts) && w.ends(w)
}

// see takes in what is really so.
func (w *watch) see(t *plant.Truth) {
	w.nowS, w.end = t.TimeS, *t
	if t.AirHeaterW > 0 || t.RadiantW > 0 {
		w.heatS = t.TimeS
		if w.fromS == 0 {
			w.before = t.TimeS
		}
	}
	if t.BeansKg > 0 {
		w.beanC = max(w.beanC, t.BeanC)
	} else if w.fromS > 0 && w.outS == 0 && w.start.BeansKg > 0 {
		w.outS = t.TimeS
	}
	w.skinC, w.elementC, w.inletC = max(w.skinC, t.SkinHotC), max(w.elementC, t.ElementC), max(w.inletC, t.InletC)
	if w.heatS == t.TimeS {
		w.skinOnC = w.skinC
	}
}

// compare holds fresh readings of the probes against what their devices showed.
func (w *watch) compare(m *rehearsal.Moment) {
	for _, x := range [...]struct {
		i point.Input
		r plant.ProbeReading
	}{{point.Bean, m.Readings.BeanProbe}, {point.InletAir, m.Readings.InletProbe}, {point.DrumSkin, m.Readings.SkinProbe}, {point.Exhaust, m.Readings.ExhaustProbe}} {
		v := m.Last.Image.In[x.i]
		if v.Quality == point.Good && v.AgeS == 0 && (v.V-x.r.C > 0.11 || x.r.C-v.V > 0.11) {
			w.wrong++
		}
	}
}

func (w *watch) act(a *Act, m *rehearsal.Moment) (err error) {
	keep := func(e error) {
		if err == nil {
			err = e
		}
	}
	switch {
	case a.Fault == "unit_silent":
		keep(m.Server.Silence(point.Bean, true))
		fallthrough
	case a.Fault != "":
		m.Server.With(func(x *plant.Machine) { keep(x.Inject(a.Fault)) })
	}
	if a.Clear != "" {
		m.Server.With(func(x *plant.Machine) { keep(x.Clear(a.Clear)) })
	}
	for _, i := range a.Silence {
		keep(m.Server.Silence(i, true))
	}
	if a.Wire != (registers.WireFaults{}) {
		m.Server.SetWireFaults(a.Wire)
	}
	if a.Fire {
		m.Server.PressFire(true)
		w.fireUpS = w.nowS + 1
	}
	if a.Say != nil {
		m.Say(*a.Say)
	}
	if a.Again {
		m.Server.With(func(x *plant.Machine) { keep(x.Charge(x.Params().BatchKg, x.Params().MoistureWB)) })
	}
	if a.HangS > 0 {
		keep(m.Miss(int(a.HangS/m.Last.Timing.PeriodS+0.5), func(t plant.Truth) { w.see(&t) }))
	}
	return err
}

// due is the condition under which a phase has come.
func due(p Phase, lateS float64) func(*record.Scan) bool {
	warmS := 0.0
	return func(s *record.Scan) bool {
		since := func(t float64) bool { return s.State == "roasting" && s.Batch.SinceS >= t }
		switch p {
		case Cold:
			return s.N > 20
		case Warming:
			if s.State == "warming" && s.Safety.HeatPermitted {
				warmS += s.Timing.PeriodS
			}
			return warmS >= warmingS
		case Ready:
			return s.State == "ready" && s.InS >= readyS
		case Early:
			return since(earlyS)
		case Mid:
			return since(midS)
		case Late:
			return since(lateS)
		case Drop:
			return s.State == "discharging"
		}
		return s.State == "cooling" && s.InS >= coolingS
	}
}

func (w *watch) tripAt(causes []string) (tripped, bool) {
	for _, t := range w.trips {
		if slices.Contains(causes, t.cause) {
			return t, true
		}
	}
	return tripped{}, false
}

// soon makes a machine that is soon ready; how it warms is not what is tried.
func soon(m *profiles.Machine) { m.Batch.ReadyBandK, m.Batch.SoakS = 20, 5 }

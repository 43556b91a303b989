package safety

import (
	"math"

	"drumwright/io/point"
	"drumwright/profiles"
)

// A device may still show an earlier value of an output for echoLagS; as many
// scans as that takes are remembered, but no more than echoScans. A device that
// has been wrong is right again when it has moved to what it is told, or has stood
// there for echoCalmS: an output that sticks is right now and then while its
// heater is switched in windows (estimates, common practice, no source).
const (
	echoLagS  = 0.5
	echoScans = 5
	echoCalmS = 5.0
)

// echo compares what an output has been told with what its device says it has
// taken.
type echo struct {
	told    [echoScans]float64 // in the last scans, a ring
	n       int                // scans since it was last left alone
	seen    float64
	known   bool // seen is a reading
	differs bool // from everything it was told lately, and has not followed since
	moved   bool // since it first differed
	calmS   float64
	foreign bool // and came to do so by itself
	heard   int  // n of the last reading
	unsure  int  // scans for which a write that was not acknowledged may still take effect
}

// tell notes what an output was told in this scan.
func (e *echo) tell(p *Permit, o point.Output) {
	if !p.Covers(o) {
		*e = echo{}
		return
	}
	e.told[e.n%echoScans] = p.Value(o)
	e.n++
}

// hear takes in a reading of the output. direct says that it is read where it is
// written. Such a register can have come from one reading to the next, with
// no line trouble between them, only to what it was told last; that one earlier
// value lies among those of an output switched in windows does not excuse it.
func (e *echo) hear(x point.Value, a *point.Access, direct bool, deadHz, periodS float64) {
	mute := x.Quality == point.Absent || x.Quality == point.Bad && silent(x.Cause)
	if e.n == 0 || mute || x.AgeS > periodS/2 && x.Usable() {
		return // nothing new is known
	}
	odd := !sound(x) // a word that means nothing is not what was told
	within := math.Abs(a.Scale)*0.51 + 1e-5*math.Abs(x.V)
	near := func(v float64) bool {
		if v < deadHz {
			v = 0
		}
		return !odd && math.Abs(v-x.V) <= within
	}
	matches := false
	for i := range min(e.n, max(2, min(echoScans, int(math.Ceil(echoLagS/periodS-1e-9))))) {
		matches = matches || near(e.told[(e.n-1-i)%echoScans])
	}
	moved := e.known && (odd || math.Abs(x.V-e.seen) > within)
	next := e.n-e.heard <= max(1, a.EveryScans)
	e.heard = e.n
	last := near(e.told[(e.n-1)%echoScans])
	alone := moved && e.unsure == 0 // and no write of ours can have done it late
	e.foreign = !matches && (e.foreign || alone && !e.differs && e.n >= echoScans) || direct && alone && next && !last
	switch {
	case !matches && !e.differs:
		e.differs, e.moved = true, false
	case moved:
		e.moved = true
	}
	if e.calmS += periodS; !matches {
		e.calmS = 0
	}
	if matches && (e.moved || e.calmS >= echoCalmS) {
		e.differs = false
	}
	e.seen, e.known = x.V, true
}

// direct reports whether an output is read back where it is written.
func direct(m *profiles.Machine, o point.Output) bool {
	out, back := &m.Out[o], &m.Back[o]
	return out.Bus == back.Bus && out.Unit == back.Unit && out.Table == back.Table && out.Address == back.Address
}

// listen compares every output that is read back.
func (g *Gate) listen(v *view) {
	for o := range point.NumOutputs {
		if !g.machine.HasBack[o] {
			continue
		}
		e := &g.echoes[o]
		if e.unsure = max(0, e.unsure-1); v.Unacknowledged[o] {
			e.unsure = echoScans
		}
		if v.gapS > float64(g.limits.ScanLateS) { // heat may have been turned off apart from the scan
			e.known, e.n = false, 0
		}
		e.hear(v.img.Back[o], &g.machine.Back[o], direct(g.machine, o), g.machine.DeadHz[o], v.PeriodS)
	}
}

// echoes finds the first output of which say is so.
func echoes(say func(*echo) bool) func(*Gate, *view) finding {
	return func(g *Gate, v *view) finding {
		f := finding{}
		for o := range point.NumOutputs {
			if !g.machine.HasBack[o] {
				continue
			}
			if e := &g.echoes[o]; say(e) {
				f = finding{active: true, value: v.img.Back[o].V, limit: g.last[o], unit: o.Role().Unit, detail: o.String()}
				if f.unit == "%" {
					f.value, f.limit = 100*f.value, 100*f.limit
				}
				return f
			}
			f.unknown = f.unknown || unknown(v.img.Back[o])
		}
		return f
	}
}

// deviceWrong is active when a constant of a device is not what the machine file
// says.
func deviceWrong(g *Gate, v *view) finding {
	f := finding{}
	for i := range g.machine.Constants {
		c, x := &g.machine.Constants[i], v.img.Known[i]
		if sound(x) && x.V != c.Is {
			return finding{active: true, value: x.V, limit: c.Is, detail: c.Name}
		}
		f.unknown = f.unknown || unknown(x)
	}
	return f
}

// deviceUnseen is active while a constant of a device cannot be read.
func deviceUnseen(g *Gate, v *view) finding {
	for i := range g.machine.Constants {
		if x := v.img.Known[i]; unknown(x) {
			return finding{active: true, cause: x.Cause, detail: g.machine.Constants[i].Name}
		}
	}
	return finding{}
}

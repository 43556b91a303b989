package safety

import (
	"fmt"
	"math"
	"strings"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Line is one row of the cause-and-effect matrix of a machine.
type Line struct {
	Row
	Threshold string   // of the signal, at nominal speed, air and demand; "" = yes or no
	Lacks     []string // points without which it is not watched
	Exception string   // by which it does not trip; "" = none
}

// Kind says what the line does: its safe state, or that it warns or holds heat.
func (l *Line) Kind() string {
	switch {
	case l.Hold:
		return "warns, refuses to begin heat"
	case l.Warn:
		return "warns"
	}
	return l.State.Code() + " " + l.State.Name()
}

// Effect says in a few words what the line does to an output, by the same table
// that the gate forces outputs by; "" = nothing.
func (l *Line) Effect(o point.Output) string {
	if o == point.Horn {
		if l.Priority == record.PriorityLow { // see package alarm
			return ""
		}
		return "sounds"
	}
	if l.Exception != "" {
		return ""
	}
	if l.Hold && IsHeat(o) {
		return "not begun"
	}
	if l.Warn {
		return ""
	}
	return l.State.effect(o)
}

// effect says what a safe state does to an output.
func (s SafeState) effect(o point.Output) string {
	e := effects[s]
	motions := [...]string{off: "off", keep: "goes on", on: "on"}
	switch o {
	case point.AirHeaterPower, point.RadiantPower, point.HeatEnable:
		return "off"
	case point.BlowerRun, point.BlowerSpeed:
		return [...]string{airOff: "off", airKeep: fmt.Sprintf("goes on, at least %.0f %%", 100*keptAirShare), airFull: "goes on, full"}[e.air]
	case point.DrumRun, point.DrumSpeed:
		return motions[e.drum]
	case point.CoolingFan:
		return motions[e.fan]
	case point.Stirrer:
		if e.fan == on { // the fan starts, the stirrer does not
			return motions[keep]
		}
		return motions[e.fan]
	}
	return ""
}

// Ranking lists the safe states from the one that wins when several are asked
// for.
func Ranking() []SafeState { return append([]SafeState(nil), rank[:]...) }

// Matrix is the cause-and-effect matrix of a machine on a day, in the order of
// the table.
func Matrix(m *profiles.Machine, date string) []Line {
	g := NewGate(m, nil, Today(date, math.Inf(1)))
	g.pretend(m)
	lines := make([]Line, len(g.table))
	for i := range g.table {
		r := &g.table[i]
		lines[i] = Line{Row: *r, Lacks: lacking(r.ID, m)}
		if f := r.signal(g, &g.v); f.unit != "" {
			lines[i].Threshold = strings.TrimSpace(fmt.Sprintf("%.4g %s", f.limit, f.unit))
		}
		if e := inForce(m, r, date); e != nil {
			lines[i].Exception = exceptionText(e)
		}
	}
	return lines
}

// pretend puts a gate where its signals show the limits of nominal running.
func (g *Gate) pretend(m *profiles.Machine) {
	img := &point.Image{}
	for i := range point.NumInputs {
		if m.HasIn[i] {
			img.In[i] = point.Value{Quality: point.Good}
			if i.Role().Kind == point.Temperature {
				img.In[i].V = 20
			}
		}
	}
	img.In[point.MainsVoltage] = point.Value{V: g.ratedV, Quality: point.Good}
	img.In[point.AirFlow] = point.Value{V: float64(m.Air.Nominal), Quality: point.Good}
	g.v = view{Context: Context{PeriodS: 0.1}, img: img, wish: &Wishes{}}
	if k := m.SkinMMPerSPerHz(); k > 0 {
		g.drumHz = float64(m.Drum.IdleSpeed) / k
	}
	g.drumSteadyS, g.wantKgPerH = 1e9, float64(m.Air.Nominal)
	full := [2]float64{1, 1}
	g.asked, g.drawn, g.askedLately, g.drawnLately, g.steadyC = full, full, full, full, full
	g.metered, g.heatOnS = [2]bool{true, true}, 1e9
	g.airBalance.trustK = offModelK
}

func (a Arming) String() string {
	return [...]string{Always: "always", HeatOn: "heat on", BeansIn: "beans in", BeansHot: "beans in or heat on", DrumOn: "drum on",
		BlowerOn: "blower on", FanOn: "cooling fan on", HeatersOff: "heaters off"}[a]
}

func (c Class) String() string {
	return [...]string{Acknowledge: "by itself", AtMachine: "at the machine", WithFinding: "at the machine, by name",
		HardwareToo: "hardware, then at the machine", LookFirst: "at the machine, after a look"}[c]
}

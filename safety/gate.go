package safety

import (
	"fmt"
	"math"
	"strconv"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety/alarm"
)

// Context is what the gate must know beside inputs and wishes.
type Context struct {
	ScanS        float64 // scan time, s
	PeriodS      float64 // nominal scan period, s
	BeansIn      bool    // beans are, or may be, in the drum
	SinceChargeS float64 // for which the bean probe has been in beans, s; 0 before and when they go

	GreenKg float64 // green mass charged, kg; 0 = not known
	RoastS  float64 // since charge, as long as the beans have not been dropped, s; 0 = no roast
	DropC   float64 // bean probe at which the recipe ends, °C; 0 = none
	LatestS float64 // time since charge at which the recipe ends in any case; 0 = none
	TrayS   float64 // for which beans have lain in the cooling tray, s; 0 = none

	FireCalled bool   // a person has reported a fire in this scan
	Barred     string // why no heat is given for a new roast, "" = nothing; a roast under way is not cut by it

	Computer       Computer
	Unacknowledged [point.NumOutputs]bool // the device has not taken what the last permit told it
}

// Gate executes the table. Make one with NewGate; use it from one goroutine.
type Gate struct {
	table   []Row
	covered []bool    // whether the machine has what the row looks at
	stands  []float64 // how long the row's signal has stood, see stand
	latch   []bool
	found   []finding // what tripped it
	warned  []bool
	latchS  []float64 // scan time of the trip
	refusal refusal

	exceptedS []float64 // does not trip before this scan time
	told      []bool    // that an excepted cause stands

	machine      *profiles.Machine
	limits       profiles.Limits
	maxDuty      [2]float64 // air, radiant; 1 for an on/off output, whose share is in its time
	powerW       [2]float64
	windowS      [2]float64 // length of a time-proportioned window, 0 = none
	minDrumHz    float64
	maxDrumHz    float64
	maxBlowerHz  float64
	minBlowerHz  float64 // gives the least flow for heat
	minFlow      float64 // least flow for heat, kg/h
	drumRampHzS  float64
	rpmPerHz     float64
	pulsesPerRev float64
	coolC        float64 // a machine below is cool
	ratedV       float64 // mains voltage of the rated powers
	airHeaterEff float64

	state  SafeState
	first  int // row of the first cause, -1 = none
	trips  uint64
	anew   bool // heat must be asked for anew: the wish has not been off since the start or the last trip
	fresh  bool // nothing has been commanded since the start but heat off: what turns is not known
	tooHot bool // withheld because of the bean probe, until it has fallen

	alarms     *alarm.List
	conditions []alarm.Condition // of each row, for the list

	heldBack string
	memory
	v view
}

// NewGate makes the gate of a machine. latched names the causes whose latch
// survived a restart, the first cause first; a name that is not in the table
// latches UnknownTrip.
func NewGate(m *profiles.Machine, latched []string, options ...Option) *Gate {
	g := &Gate{
		machine:      m,
		limits:       capped(m.Limits),
		maxDuty:      [2]float64{float64(m.Heaters.Air.MaxDuty), float64(m.Heaters.Radiant.MaxDuty)},
		powerW:       [2]float64{float64(m.Heaters.Air.PowerW), float64(m.Heaters.Radiant.PowerW)},
		windowS:      [2]float64{float64(m.Cycle[point.AirHeaterPower].PeriodS), float64(m.Cycle[point.RadiantPower].PeriodS)},
		minDrumHz:    float64(m.Drum.MinHz),
		maxDrumHz:    float64(m.Drum.MaxHz),
		maxBlowerHz:  float64(m.Air.MaxHz),
		minBlowerHz:  m.BlowerHz(float64(m.Air.MinForHeat)),
		minFlow:      float64(m.Air.MinForHeat),
		drumRampHzS:  m.Drum.RampHzPerS,
		rpmPerHz:     m.SkinMMPerSPerHz() / (2 * math.Pi * 1000 * float64(m.Drum.RadiusM)) * 60,
		pulsesPerRev: float64(m.Drum.PulsesPerRev),
		coolC:        float64(m.Batch.RunDownBelow),
		ratedV:       float64(m.Heaters.RatedV),
		airHeaterEff: float64(m.Heaters.Air.Efficiency),
		first:        -1,
		anew:         true,
		fresh:        true,
		memory:       newMemory(m),
	}
	for i, w := range g.windowS {
		if w > 0 {
			g.maxDuty[i] = 1
		}
	}
	g.table = rows(&g.limits)
	n := len(g.table)
	g.covered, g.stands, g.latch = make([]bool, n), make([]float64, n), make([]bool, n)
	g.found, g.warned, g.latchS = make([]finding, n), make([]bool, n), make([]float64, n)
	g.exceptedS, g.told = make([]float64, n), make([]bool, n)
	for i := range g.table {
		g.covered[i] = covered(g.table[i].ID, m)
	}
	for _, o := range options {
		o(g)
	}
	var kept []int
	for _, id := range latched {
		i, detail := g.row(id), "latched before the restart"
		if i < 0 {
			i, detail = g.row(UnknownTrip), "latched before the restart as "+strconv.Quote(id)
		}
		g.latch[i], g.found[i] = true, finding{detail: detail}
		if g.first < 0 {
			g.first = i
		}
		kept = append(kept, i)
	}
	g.state = g.worst()
	g.alarms, g.conditions = newAlarms(g.table, kept), make([]alarm.Condition, n)
	return g
}

// row finds a latching row by its name.
func (g *Gate) row(id string) int {
	for i := range g.table {
		if g.table[i].ID == id && !g.table[i].Warn {
			return i
		}
	}
	return -1
}

// Judge decides one scan. It writes what it decided into rec and returns the
// permit. Order: follow the inputs, run the table, force the safe state, hold
// back heat, clamp.
func (g *Gate) Judge(ctx Context, img *point.Image, w *Wishes, rec *record.Scan) Permit {
	g.look(ctx, img, w)
	g.follow(&g.v)
	g.run(rec)

	asks := w.Out[point.HeatEnable] >= 0.5
	switch {
	case !asks:
		g.anew = false
	case g.Tripped():
		g.anew = true
	}
	if g.fresh && !g.Tripped() && g.seenCool(img) {
		g.fresh = false
	}

	p := Permit{issued: true, out: w.Out}
	for o := range p.out {
		if math.IsNaN(p.out[o]) || math.IsInf(p.out[o], 0) {
			p.out[o] = 0
		}
	}
	g.force(&p)
	g.heldBack = g.holdBack(&p)
	g.clamp(&p)
	g.alarms.Update(g.v.ScanS, g.observed(), rec)
	if g.alarms.Horn() {
		p.out[point.Horn] = 1
	}
	g.settle(&p, asks, g.v.gapS)
	g.report(&p, rec)
	return p
}

// look takes the view of this scan. Time that stands still, runs backwards or
// is not a number is no time: it counts as 0 and as a late scan.
func (g *Gate) look(ctx Context, img *point.Image, w *Wishes) {
	g.v = view{Context: ctx, img: img, wish: w}
	if !(ctx.PeriodS > 0 && ctx.PeriodS <= 1) {
		g.v.PeriodS = 0.1
	}
	gap := ctx.ScanS - g.scanS
	switch {
	case math.IsNaN(ctx.ScanS) || math.IsInf(ctx.ScanS, 0):
		g.v.ScanS, g.v.noTime = g.scanS, true
	case !g.begun:
		g.scanS = ctx.ScanS
	case gap > 0:
		g.v.gapS, g.scanS = gap, ctx.ScanS
	default:
		g.v.noTime, g.scanS = true, ctx.ScanS
	}
	if !g.begun {
		for i := range g.latchS { // when a latch from before the start was made is not known
			g.latchS[i] = g.scanS
		}
	}
	g.begun = true
}

// run evaluates every row, moves timers and latches, and writes events.
func (g *Gate) run(rec *record.Scan) {
	for i := range g.table {
		r := &g.table[i]
		if g.isExcepted(i) && !g.latch[i] {
			g.runExcepted(i, rec)
			continue
		}
		if g.exceptedS[i] > 0 && g.scanS >= g.exceptedS[i] {
			g.exceptedS[i] = 0 // its last day is over
			g.clearWarning(i, rec)
		}
		if !g.covered[i] || !g.isArmed(r.Arm) {
			g.stands[i] = 0
			g.clearWarning(i, rec)
			continue
		}
		f := r.signal(g, &g.v)
		if g.stand(i, f.active) {
			g.trip(i, f, rec)
		}
		if g.stands[i] == 0 {
			g.clearWarning(i, rec)
		}
	}
	g.state = g.worst()
}

// stand moves the on-delay of a row and reports whether it is over: the signal
// has stood for the delay since it was first seen, so a delay of n scans is over
// n scans after the first sight. A gap takes back half of its own length only: a
// loose wire that comes and goes must not start the delay anew each time.
func (g *Gate) stand(i int, active bool) bool {
	t, full := &g.stands[i], g.table[i].AfterS+g.v.PeriodS
	switch {
	case !active:
		*t = math.Max(0, *t-g.v.gapS/2)
	case *t == 0:
		*t = g.v.PeriodS // the first sight, counted as one period and no time yet
	default:
		*t = math.Min(full, *t+g.v.gapS)
	}
	return active && *t >= full-1e-9
}

func (g *Gate) trip(i int, f finding, rec *record.Scan) {
	r := &g.table[i]
	if r.Warn {
		if !g.warned[i] {
			g.warned[i], g.found[i] = true, f
			rec.Add(record.Event{Kind: record.Warning, Name: r.ID, Text: r.Cause + " " + f.String() + " " + r.Action, Value: f.value, Limit: f.limit})
		}
		return
	}
	if g.latch[i] {
		return
	}
	g.latch[i], g.found[i], g.latchS[i] = true, f, g.scanS
	g.trips++
	if g.first < 0 {
		g.first = i
	}
	rec.Add(record.Event{Kind: record.Trip, Name: r.ID, Text: r.Cause + " " + f.String() + " " + r.Consequence + " " + r.Action, Value: f.value, Limit: f.limit})
}

func (g *Gate) clearWarning(i int, rec *record.Scan) {
	if g.warned[i] {
		g.warned[i] = false
		rec.Add(record.Event{Kind: record.Cleared, Name: g.table[i].ID, Text: g.table[i].Cause + " No longer so."})
	}
}

// String is the figure of a finding for people: what, value, limit.
func (f finding) String() string {
	text := "(" + f.detail
	if f.cause != point.None {
		text += ": " + f.cause.String()
	}
	if f.unit != "" {
		text += fmt.Sprintf(": %.1f %s, limit %.1f %s", f.value, f.unit, f.limit, f.unit)
	}
	return text + ")"
}

// worst is the safe state that ranks first among the latched causes.
func (g *Gate) worst() SafeState {
	for _, s := range rank {
		for i := range g.table {
			if g.latch[i] && g.table[i].State == s {
				return s
			}
		}
	}
	return S0
}

// Tripped reports whether any cause is latched.
func (g *Gate) Tripped() bool {
	for _, l := range g.latch {
		if l {
			return true
		}
	}
	return false
}

// clamp keeps every output inside the machine's limits, and contacts at 0 or 1:
// a command word has no entry for anything in between.
func (g *Gate) clamp(p *Permit) {
	lim := func(o point.Output, hi float64) { p.out[o] = math.Max(0, math.Min(hi, p.out[o])) }
	lim(point.AirHeaterPower, g.maxDuty[0])
	lim(point.RadiantPower, g.maxDuty[1])
	lim(point.DrumSpeed, g.maxDrumHz)
	lim(point.BlowerSpeed, g.maxBlowerHz)
	for o := range point.NumOutputs {
		if o.Role().Kind == point.Contact {
			on := p.out[o] >= 0.5
			if p.out[o] = 0; on {
				p.out[o] = 1
			}
		}
	}
}

func (g *Gate) report(p *Permit, rec *record.Scan) {
	s := &rec.Safety
	s.HeatPermitted = p.out[point.HeatEnable] >= 0.5
	s.Tripped = g.Tripped()
	s.SafeState, s.SafeStateName = g.state.Code(), g.state.Name()
	s.First = ""
	if g.first >= 0 {
		s.First = g.table[g.first].ID
	}
	s.NumStanding = g.alarms.Standing()
	s.HeldBack = g.heldBack
	s.Trips = g.trips
	rec.Permit = p.out
}

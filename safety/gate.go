package safety

import (
	"fmt"
	"math"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Context is what the gate must know beside inputs and wishes.
type Context struct {
	ScanS        float64 // scan time, s
	PeriodS      float64 // nominal scan period, s
	BeansIn      bool    // beans are, or may be, in the drum
	SinceChargeS float64 // s; 0 before
}

// Gate executes the table. Make one with NewGate; use it from one goroutine.
type Gate struct {
	table  []Row
	armed  []bool // whether the machine has what the row looks at
	stands []float64
	latch  []bool
	found  []finding // what tripped it
	warned []bool

	limits        profiles.Limits
	maxDuty       [2]float64 // air, radiant
	maxDrumHz     float64
	maxBlowerHz   float64
	drumRampHzS   float64
	rpmPerHz      float64
	pulsesPerRev  float64
	minFlowKgPerH float64

	begun     bool
	lastScanS float64
	last      [point.NumOutputs]float64 // permitted in the last scan
	was       [point.NumOutputs]float64 // permitted when the trip began
	state     SafeState
	first     int // row of the first cause, -1 = none
	acked     bool
	trips     uint64

	shaft                      point.Shaft
	hasShaft                   bool
	drumHz                     float64 // expected drive frequency, with the drive's ramp
	heating                    bool    // heat has been permitted and is still asked for
	tooHot                     bool    // withheld because of the bean probe, until it has fallen
	drumOnS, blowerOnS, fanOnS float64
	airOffS, radiantOffS       float64
	slope                      [numSlopes]point.Slope
	still                      [point.NumInputs]stillness
	heldBack                   string
	v                          view
}

const (
	slopeBean = iota
	slopeExhaust
	slopeInlet
	slopeSkin
	numSlopes
)

// stillness is how long a value has been the same to the bit, and where the
// other temperatures stood when that began.
type stillness struct {
	v      float64
	sinceS float64
	others [point.NumInputs]float64
}

// drumStartS and blowerStartS are the times that drum and blower may take to
// come up after their command before anything is expected of them.
const (
	drumStartS   = 3.0
	blowerStartS = 5.0
)

// NewGate makes the gate of a machine. latched names the causes whose latch
// survived a restart; an unknown name latches the table's first row, because
// the store then cannot be trusted.
func NewGate(m *profiles.Machine, latched []string) *Gate {
	g := &Gate{
		limits:        m.Limits,
		maxDuty:       [2]float64{float64(m.Heaters.Air.MaxDuty), float64(m.Heaters.Radiant.MaxDuty)},
		maxDrumHz:     float64(m.Drum.MaxHz),
		maxBlowerHz:   float64(m.Air.MaxHz),
		drumRampHzS:   m.Drum.RampHzPerS,
		rpmPerHz:      m.SkinMMPerSPerHz() / (2 * math.Pi * 1000 * float64(m.Drum.RadiusM)) * 60,
		pulsesPerRev:  float64(m.Drum.PulsesPerRev),
		minFlowKgPerH: float64(m.Air.MinForHeat),
		first:         -1,
		acked:         true,
		hasShaft:      m.HasIn[point.DrumPulses],
	}
	capLimits(&g.limits)
	g.table = rows(&g.limits)
	n := len(g.table)
	g.armed, g.stands, g.latch = make([]bool, n), make([]float64, n), make([]bool, n)
	g.found, g.warned = make([]finding, n), make([]bool, n)
	for i := range g.table {
		g.armed[i] = covered(g.table[i].ID, m)
	}
	if g.hasShaft {
		g.shaft = point.NewShaft(m.Drum.PulsesPerRev, m.In[point.DrumPulses].Type.Wrap())
	}
	for i := range g.slope {
		g.slope[i] = point.NewSlope(3)
	}
	for _, id := range latched {
		i := g.row(id)
		if i < 0 {
			i = 0
		}
		g.latch[i], g.found[i] = true, finding{detail: "latched before the restart"}
		if g.first < 0 {
			g.first = i
		}
	}
	g.state = g.worst()
	return g
}

func (g *Gate) row(id string) int {
	for i := range g.table {
		if g.table[i].ID == id {
			return i
		}
	}
	return -1
}

// Judge decides one scan. It writes what it decided into rec and returns the
// permit. Order: follow the inputs, run the table, force the safe state, hold
// back heat, clamp.
func (g *Gate) Judge(ctx Context, img *point.Image, w *Wishes, rec *record.Scan) Permit {
	g.v = view{Context: ctx, img: img, wish: w}
	if g.begun {
		g.v.gapS = ctx.ScanS - g.lastScanS
	}
	g.begun, g.lastScanS = true, ctx.ScanS
	g.follow()
	g.run(rec)

	p := Permit{issued: true, out: w.Out}
	for o := range p.out {
		if !(math.Abs(p.out[o]) <= math.MaxFloat64) { // not a number or infinite
			p.out[o] = 0
		}
	}
	g.state.force(&p.out, &g.was, g.maxBlowerHz)
	g.heldBack = g.holdBack(&p)
	g.clamp(&p)
	if g.Tripped() && !g.acked {
		p.out[point.Horn] = 1
	}
	g.settle(&p)
	g.report(&p, rec)
	return p
}

// follow updates everything the signals remember from scan to scan.
func (g *Gate) follow() {
	img, now := g.v.img, g.v.ScanS
	if g.hasShaft {
		g.shaft.Update(now, img.In[point.DrumPulses])
	}
	g.slope[slopeBean].Add(now, img.In[point.Bean])
	g.slope[slopeExhaust].Add(now, img.In[point.Exhaust])
	g.slope[slopeInlet].Add(now, img.In[point.InletAir])
	g.slope[slopeSkin].Add(now, img.In[point.DrumSkin])
	for _, i := range [...]point.Input{point.Bean, point.InletAir, point.DrumSkin} {
		f, x := &g.still[i], img.In[i]
		if x.Usable() && x.V == f.v {
			f.sinceS += g.v.gapS
			continue
		}
		f.v, f.sinceS = x.V, 0
		for j := range point.NumInputs {
			f.others[j] = img.In[j].V
		}
	}
	want := g.last[point.DrumSpeed] * g.last[point.DrumRun]
	step := g.drumRampHzS * g.v.gapS
	g.drumHz += math.Max(-step, math.Min(step, want-g.drumHz))
}

// run evaluates every row, moves timers and latches, and writes events.
func (g *Gate) run(rec *record.Scan) {
	before := g.Tripped()
	for i := range g.table {
		r := &g.table[i]
		if !g.armed[i] || !g.isArmed(r.Arm) {
			g.stands[i] = 0
			g.clearWarning(i, rec)
			continue
		}
		f := r.signal(g, &g.v)
		if !f.active {
			g.stands[i] = 0
			g.clearWarning(i, rec)
			continue
		}
		g.stands[i] += g.v.gapS
		// A delay of n scans is over when the condition has stood for n scans; the
		// first sight counts as none.
		if g.stands[i]-g.v.gapS < r.AfterS-1e-9 {
			continue
		}
		g.trip(i, f, rec)
	}
	if g.Tripped() && !before {
		g.was = g.last
	}
	g.state = g.worst()
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
	g.latch[i], g.found[i], g.acked = true, f, false
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
	if f.unit == "" {
		return "(" + f.detail + ")"
	}
	return fmt.Sprintf("(%s: %.1f %s, limit %.1f %s)", f.detail, f.value, f.unit, f.limit, f.unit)
}

func (g *Gate) isArmed(a Arming) bool {
	switch a {
	case HeatOn:
		return g.heatOn()
	case BeansIn:
		return g.v.BeansIn
	case BeansHot:
		return g.v.BeansIn || g.heatOn()
	case DrumOn:
		return g.drumOnS >= drumStartS
	case BlowerOn:
		return g.blowerOnS >= blowerStartS
	case FanOn:
		return g.fanOnS > 0
	case HeatersOff:
		return g.airOffS > 5 && g.radiantOffS > 5
	}
	return true
}

// heatOn is true from the scan after heat was first permitted until control no
// longer asks for it. A wish alone does not arm: before the first heat a
// doubtful input refuses it without a trip. Being withheld does not disarm.
func (g *Gate) heatOn() bool { return g.heating }

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

// clamp keeps every output inside the machine's limits.
func (g *Gate) clamp(p *Permit) {
	lim := func(o point.Output, hi float64) { p.out[o] = math.Max(0, math.Min(hi, p.out[o])) }
	lim(point.AirHeaterPower, g.maxDuty[0])
	lim(point.RadiantPower, g.maxDuty[1])
	lim(point.DrumSpeed, g.maxDrumHz)
	lim(point.BlowerSpeed, g.maxBlowerHz)
	for _, o := range [...]point.Output{point.DrumRun, point.BlowerRun, point.HeatEnable, point.CoolingFan, point.Stirrer, point.Horn, point.Heartbeat} {
		lim(o, 1)
	}
}

// settle remembers what was permitted and for how long.
func (g *Gate) settle(p *Permit) {
	dt := g.v.gapS
	grow := func(t *float64, on bool) {
		if on {
			*t += dt
		} else {
			*t = 0
		}
	}
	drum := p.out[point.DrumRun] >= 0.5 && p.out[point.DrumSpeed] > 0
	if drum && g.drumOnS == 0 {
		g.shaft.Forget()
		g.drumOnS = 1e-9
	}
	grow(&g.drumOnS, drum)
	grow(&g.blowerOnS, p.out[point.BlowerRun] >= 0.5 && p.out[point.BlowerSpeed] > 0)
	grow(&g.fanOnS, p.out[point.CoolingFan] >= 0.5)
	grow(&g.airOffS, p.out[point.AirHeaterPower] == 0)
	grow(&g.radiantOffS, p.out[point.RadiantPower] == 0)
	g.heating = g.v.wish.Out[point.HeatEnable] >= 0.5 && (g.heating || p.out[point.HeatEnable] >= 0.5)
	g.last = p.out
}

// expectedRPM is the drum speed that the drive's frequency should give now.
func (g *Gate) expectedRPM() float64 { return g.drumHz * g.rpmPerHz }

// measuredRPM is the drum speed from pulses, or from a device; 0 = not known.
func (g *Gate) measuredRPM(img *point.Image) float64 {
	if g.hasShaft {
		return g.shaft.RPM()
	}
	if x := img.In[point.DrumTurning]; x.Usable() {
		return x.V
	}
	return 0
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
	s.NumStanding = 0
	for i := range g.table {
		if (g.latch[i] || g.warned[i]) && s.NumStanding < len(s.Standing) {
			s.Standing[s.NumStanding] = g.table[i].ID
			s.NumStanding++
		}
	}
	s.HeldBack = g.heldBack
	s.Trips = g.trips
	rec.Permit = p.out
}

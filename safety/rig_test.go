package safety_test

import (
	"math"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

// fullMachine has every input and output. Its drum turns once a minute for each
// Hz, its blower gives 1 kg/h for each Hz.
func fullMachine() *profiles.Machine {
	m := &profiles.Machine{}
	m.Scan.PeriodS = 0.1
	m.Drum = profiles.Drum{RadiusM: 0.1, MMPerSPerHz: 2 * math.Pi * 100 / 60, PulsesPerRev: 4, MinHz: 20, MaxHz: 65, RampHzPerS: 10, EmptyA: 1, FullA: 1.5}
	m.Air = profiles.Air{Flow: []profiles.FlowAtHz{{Hz: 10, Flow: 10}, {Hz: 50, Flow: 50}}, Nominal: 40, MinForHeat: 10, MaxHz: 50}
	m.Heaters.Air = profiles.AirHeater{PowerW: 2300, MaxDuty: 0.9}
	m.Heaters.Air.Efficiency = 0.95
	m.Heaters.Radiant = profiles.Radiant{PowerW: 1150, MaxDuty: 0.8, PanelJPK: 500}
	m.Heaters.RatedV = 230
	m.Bed.DrumHeat = 1000
	m.Batch.RunDownBelow = 60
	m.Limits = profiles.Limits{
		BeanHigh: profiles.Trip{At: 245, AfterS: 1}, BeanHeatOff: 235, InletHigh: profiles.Trip{At: 350, AfterS: 1},
		ExhaustHigh: profiles.Trip{At: 270, AfterS: 1}, SkinHigh: profiles.Trip{At: 300, AfterS: 2}, ElementHigh: profiles.Trip{At: 650, AfterS: 1},
		LimitHigh: profiles.Trip{At: 320, AfterS: 1}, SensorBadS: 0.75, FrozenS: 10, RiseKPerS: 2, StallS: 3, SlipWarn: 0.15, SlipTrip: 0.4,
		SlipTripS: 3, AirLostS: 0.5, DriveFaultS: 0.3, BusLostS: 2, FanFailS: 3, CoverS: 1, ScanLateS: 1,
		OffRiseKPerS: 0.3, OffRiseAirS: 15, OffRiseSkinS: 90,
		CollectorHigh: profiles.Trip{At: 150, AfterS: 1}, CabinetHigh: profiles.Trip{At: 65, AfterS: 10}, ProbesApartK: 10, ColdApartK: 8,
		AirWeakWarn: 0.2, AirWeakTrip: 0.4, MainsLow: 0.15,
	}
	for i := range point.NumInputs {
		m.HasIn[i] = true
	}
	m.HasIn[point.DrumTurning] = false // the shaft counter tells
	for o := range point.NumOutputs {
		m.HasOut[o] = true
	}
	m.In[point.DrumPulses].Type = point.Uint16
	m.HasBack[point.AirHeaterPower], m.Back[point.AirHeaterPower].Scale = true, 0.001
	m.Constants = []profiles.Constant{{Is: 4711, Name: "unit 1"}}
	return m
}

// reporter is what a rig needs of a test.
type reporter interface {
	Helper()
	Error(args ...any)
	Errorf(format string, args ...any)
	Fatal(args ...any)
	Fatalf(format string, args ...any)
}

// rig is a gate with a machine around it that follows the permits and has no
// physics: temperatures stand where a test puts them.
type rig struct {
	t   reporter
	m   *profiles.Machine
	g   *safety.Gate
	img point.Image
	w   safety.Wishes
	rec record.Scan
	p   safety.Permit

	now, dt  float64
	beans    bool
	sinceS   float64
	roastS   float64
	greenKg  float64
	dropC    float64
	latestS  float64
	trayS    float64
	fire     bool // a person reports one
	computer safety.Computer
	unheard  [point.NumOutputs]bool   // devices that do not acknowledge
	each     func(*rig)               // called before each scan
	fixed    [point.NumInputs]bool    // set by a test; else it follows the permits
	share    float64                  // of the drum speed that reaches the shaft
	ramp     [point.NumInputs]float64 // K/s
	still    [point.NumInputs]bool
	mirror   float64 // contactor stuck at 0 or 1; -1 follows
	pulses   float64
	backAdd  float64 // what the air heater's device holds beside what it was told
	backHeld bool    // it keeps what it holds
	turnHz   float64
	n        int
	lastBase [point.NumInputs]float64
}

func newRig(t reporter, m *profiles.Machine, latched ...string) *rig {
	r := &rig{t: t, m: m, g: safety.NewGate(m, latched), dt: 0.1, share: 1, mirror: -1, pulses: 65530}
	for i := range point.NumInputs {
		if !m.HasIn[i] {
			continue
		}
		switch i.Role().Kind {
		case point.Temperature:
			r.set(i, 20)
		case point.Status:
			r.set(i, point.DriveRunning)
		default:
			r.set(i, 0)
		}
	}
	for _, i := range [...]point.Input{point.AirProving, point.CoolingFanRunning, point.CoverClosed, point.EmergencyStopHealthy, point.HighLimitHealthy, point.PhasesHealthy, point.SupplyHealthy} {
		r.set(i, 1)
	}
	r.set(point.MainsVoltage, 230)
	r.set(point.DrumCurrent, 1.2)
	for i := range m.Constants {
		r.img.Known[i] = point.Value{V: m.Constants[i].Is, Quality: point.Good}
	}
	r.fixed = [point.NumInputs]bool{}
	return r
}

func (r *rig) set(i point.Input, v float64) {
	if r.m.HasIn[i] {
		r.lastBase[i], r.fixed[i] = v, true
		r.img.In[i] = point.Value{V: v, Quality: point.Good}
	}
}

func (r *rig) bad(i point.Input, c point.Cause, ageS float64) {
	r.img.In[i].Quality, r.img.In[i].Cause, r.img.In[i].AgeS = point.Bad, c, ageS
}

func (r *rig) good(i point.Input) { r.set(i, r.lastBase[i]) }

// scan moves the machine on by a scan and judges it.
func (r *rig) scan() safety.Permit {
	r.n++
	r.now += r.dt
	if r.sinceS > 0 {
		r.sinceS += r.dt
	}
	want := r.p.Value(point.DrumSpeed) * r.p.Value(point.DrumRun)
	r.turnHz += math.Max(-r.m.Drum.RampHzPerS*r.dt, math.Min(r.m.Drum.RampHzPerS*r.dt, want-r.turnHz))
	r.pulses += r.turnHz * r.share / 60 * float64(r.m.Drum.PulsesPerRev) * r.dt
	r.img.In[point.DrumPulses].V = math.Mod(math.Floor(r.pulses), 65536)
	r.follow()
	if b := &r.img.Back[point.AirHeaterPower]; r.m.HasBack[point.AirHeaterPower] && !r.backHeld {
		*b = point.Value{V: r.p.Value(point.AirHeaterPower) + r.backAdd, Quality: point.Good}
	}
	if r.each != nil {
		r.each(r)
	}
	for i := range point.NumInputs {
		x := &r.img.In[i]
		if i.Role().Kind != point.Temperature || x.Quality != point.Good || r.still[i] {
			continue
		}
		r.lastBase[i] += r.ramp[i] * r.dt
		x.V = r.lastBase[i] + 1e-4*float64(r.n%2) // a live probe's last digit moves
	}
	if r.m.HasIn[point.ContactorClosed] {
		if r.img.In[point.ContactorClosed].V = r.mirror; r.mirror < 0 {
			r.img.In[point.ContactorClosed].V = r.p.Value(point.HeatEnable)
		}
	}
	r.p = r.g.Judge(safety.Context{ScanS: r.now, PeriodS: 0.1, BeansIn: r.beans, SinceChargeS: r.sinceS,
		GreenKg: r.greenKg, RoastS: r.roastS, DropC: r.dropC, LatestS: r.latestS, TrayS: r.trayS, FireCalled: r.fire, Computer: r.computer, Unacknowledged: r.unheard}, &r.img, &r.w, &r.rec)
	r.rec.NumEvents = 0
	return r.p
}

// follow lets air and currents be what the last permit makes of them.
func (r *rig) follow() {
	hz := r.p.Value(point.BlowerSpeed) * r.p.Value(point.BlowerRun)
	proven, volts := 0.0, r.img.In[point.MainsVoltage].V
	if hz >= 5 {
		proven = 1
	}
	for i, v := range map[point.Input]float64{point.Bean2: r.lastBase[point.Bean], point.AirFlow: hz, point.AirProving: proven,
		point.AirHeaterCurrent: r.p.Value(point.AirHeaterPower) * 2300 * volts / (230 * 230),
		point.RadiantCurrent:   r.p.Value(point.RadiantPower) * 1150 * volts / (230 * 230)} {
		if x := &r.img.In[i]; x.Quality == point.Good && !r.fixed[i] {
			x.V, r.lastBase[i] = v, v
		}
	}
}

func (r *rig) runS(s float64) {
	for n := int(math.Round(s / r.dt)); n > 0; n-- {
		r.scan()
	}
}

func (r *rig) heating() bool { return r.p.Value(point.HeatEnable) == 1 }

// wishRoast asks for drum, air and both heaters.
func (r *rig) wishRoast() {
	r.w.Out = [point.NumOutputs]float64{point.DrumRun: 1, point.DrumSpeed: 50, point.BlowerRun: 1, point.BlowerSpeed: 20,
		point.HeatEnable: 1, point.AirHeaterPower: 0.5, point.RadiantPower: 0.5}
}

func (r *rig) wishNoHeat() {
	r.w.Out[point.HeatEnable], r.w.Out[point.AirHeaterPower], r.w.Out[point.RadiantPower] = 0, 0, 0
}

// roast brings the rig into the middle of a roast.
func (r *rig) roast() {
	r.t.Helper()
	r.scan() // cold, nothing asked
	r.wishRoast()
	r.runS(7)
	for i, c := range map[point.Input]float64{point.Bean: 150, point.InletAir: 250, point.DrumSkin: 220, point.DrumSkin2: 220, point.Exhaust: 180, point.HeaterElement: 400, point.HighLimit: 200} {
		r.set(i, c)
	}
	r.beans, r.sinceS = true, 10
	r.runS(5)
	r.sinceS = 100
	r.runS(5)
	if !r.heating() || r.g.Tripped() {
		r.t.Fatalf("no steady roast: heat %v, latched %v, held back: %q", r.heating(), r.g.Latched(), r.rec.Safety.HeldBack)
	}
}

func (r *rig) latched(id string) bool {
	for _, l := range r.g.Latched() {
		if l == id {
			return true
		}
	}
	return false
}

// glide moves a temperature no faster than a row that looks at its rate allows.
func (r *rig) glide(i point.Input, to float64) {
	up, down := 50.0, -50.0
	switch i {
	case point.Bean:
		up, down = 1.8, -20
	case point.Collector:
		up = 2.5
	}
	if i.Role().Kind != point.Temperature {
		r.set(i, to)
	}
	for r.lastBase[i] != to {
		left := (to - r.lastBase[i]) / r.dt
		r.ramp[i] = math.Max(down, math.Min(up, left))
		r.scan()
		if r.ramp[i] == left {
			r.lastBase[i] = to
		}
	}
	r.ramp[i] = 0
}

// until scans until the row has latched and returns the scans after the first.
func (r *rig) until(id string, mostS float64) int {
	r.t.Helper()
	for n := range int(mostS/r.dt) + 1 {
		if r.scan(); r.latched(id) {
			return n
		}
	}
	r.t.Fatalf("%s does not trip within %v s; latched: %v, heat %v, held back: %q", id, mostS, r.g.Latched(), r.heating(), r.rec.Safety.HeldBack)
	return 0
}

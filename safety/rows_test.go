package safety_test

import (
	"math"
	"strings"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

// fault is how one row of the table is made to act.
type fault struct {
	id    string
	setup func(*rig) // after roast
	quiet func(*rig) // just not enough; includes its scans and ends with the condition gone
	on    func(*rig)
	off   func(*rig)
	fromS float64 // seconds from the first scan with the condition to the trip
	toS   float64 // 0 = exactly fromS, rounded up to a scan
	goneS float64 // seconds from its end until it can be reset; 0 = as its delay says
	fades bool    // the condition ends by what the trip does
	live  bool    // acts in a plain roast, without setup
}

func at(i point.Input, quiet, on, normal, afterS float64, id string) fault {
	return fault{id: id, fromS: afterS, live: true,
		quiet: func(r *rig) { r.glide(i, quiet); r.runS(afterS + 1); r.glide(i, normal); r.runS(2*afterS + 4) },
		on:    func(r *rig) { r.set(i, on) },
		off:   func(r *rig) { r.glide(i, normal) }}
}

// short is a condition that is taken away one scan before its delay is over.
func short(afterS float64, on, off func(*rig)) func(*rig) {
	return func(r *rig) {
		on(r)
		for range int(math.Ceil(afterS/r.dt - 1e-9)) {
			r.scan()
		}
		off(r)
		r.runS(2*afterS + 3.5)
	}
}

func held(i point.Input, on, normal, afterS float64, id string) fault {
	f := fault{id: id, fromS: afterS, live: true, on: func(r *rig) { r.set(i, on) }, off: func(r *rig) { r.set(i, normal) }}
	if afterS > 0 {
		f.quiet = short(afterS, f.on, f.off)
	}
	return f
}

func broken(i point.Input, afterS float64, id string) fault {
	f := fault{id: id, fromS: afterS, live: true, on: func(r *rig) { r.bad(i, point.OpenProbe, 0) }, off: func(r *rig) { r.good(i) }}
	f.quiet = short(afterS, f.on, f.off)
	return f
}

func stillProbe(i point.Input, id string) fault {
	f := fault{id: id, fromS: 10.3, toS: 10.9, live: true, on: func(r *rig) { r.still[i] = true }, off: func(r *rig) { r.still[i] = false }}
	f.quiet = func(r *rig) { f.on(r); r.runS(10.2); f.off(r); r.runS(25) }
	return f
}

func climbs(i point.Input, quiet, on, afterS float64, id string, setup func(*rig)) fault {
	return fault{id: id, fromS: afterS, toS: afterS + 3.2, setup: setup, live: setup == nil,
		quiet: func(r *rig) {
			start := r.lastBase[i]
			r.ramp[i] = quiet
			r.runS(afterS + 4)
			r.ramp[i] = 0
			r.runS(4)
			r.ramp[i] = -0.2 // back without leaving the plausible
			for r.lastBase[i] > start {
				r.ramp[i] = -2
				r.scan()
			}
			r.ramp[i] = 0
			r.runS(4)
		},
		on: func(r *rig) { r.ramp[i] = on }, off: func(r *rig) { r.ramp[i] = 0 }}
}

func heatOffFor(s float64) func(*rig) {
	return func(r *rig) { r.wishNoHeat(); r.runS(s) }
}

// faults has one entry for each latching row but those that only a restart
// brings. Thresholds and
// delays are written out here once more (estimates, common practice, no source),
// so that a change of the table is seen.
var faults = append(moreFaults, []fault{
	held(point.EmergencyStopHealthy, 0, 1, 0, "emergency_stop"),
	held(point.FireButton, 1, 0, 0, "fire_button"),
	{id: "fire_called", live: true, on: func(r *rig) { r.fire = true }, off: func(r *rig) { r.fire = false }},
	climbs(point.Bean, 1.4, 1.7, 3, "fire_in_drum", func(r *rig) { r.glide(point.Bean, 200); heatOffFor(6)(r); r.glide(point.InletAir, 199); r.runS(6) }),
	{id: "beans_heat_themselves", fromS: 20, toS: 23.2, setup: func(r *rig) { r.glide(point.InletAir, 130); r.runS(5) },
		quiet: func(r *rig) { r.ramp[point.Bean] = 0.08; r.runS(30); r.ramp[point.Bean] = 0; r.runS(40) },
		on:    func(r *rig) { r.ramp[point.Bean] = 0.15 }, off: func(r *rig) { r.ramp[point.Bean] = 0; r.glide(point.InletAir, 250) }},
	{id: "beans_gain_heat", fromS: 11, toS: 16, goneS: 60, setup: func(r *rig) { r.greenKg = 1; r.runS(30) },
		quiet: func(r *rig) {
			r.ramp[point.Bean] = 0.3
			r.runS(60)
			r.ramp[point.Bean] = -0.4
			r.runS(45)
			r.ramp[point.Bean] = 0
			r.runS(60)
		},
		on: func(r *rig) { r.ramp[point.Bean] = 1 }, off: func(r *rig) { r.ramp[point.Bean] = -1 }},
	{id: "bean_fire", fromS: 3, toS: 6.2,
		setup: func(r *rig) { r.w.Out[point.AirHeaterPower] = 0.4; r.set(point.Bean, 244); r.beans = false; r.runS(5) },
		quiet: func(r *rig) {
			r.set(point.Bean, 249.5)
			r.ramp[point.Bean] = 0.9
			r.runS(4.4)
			r.ramp[point.Bean] = 0
			r.set(point.Bean, 244)
			r.runS(14)
		},
		on:  func(r *rig) { r.lastBase[point.Bean] = 250.5; r.ramp[point.Bean] = 1.5 },
		off: func(r *rig) { r.ramp[point.Bean] = 0; r.set(point.Bean, 200) }},
	{id: "drum_stall", fromS: 2.7, toS: 3.1, live: true,
		quiet: func(r *rig) { r.share = 0; r.runS(2.6); r.share = 1; r.runS(8) },
		on:    func(r *rig) { r.share = 0 }, off: func(r *rig) { r.share = 1 }},
	{id: "drum_slip", fromS: 3, toS: 6.5, live: true,
		quiet: func(r *rig) { r.share = 0.66; r.runS(12); r.share = 1; r.runS(10) },
		on:    func(r *rig) { r.share = 0.54 }, off: func(r *rig) { r.share = 1 }},
	held(point.DrumFault, 3, 0, 0.3, "drum_drive"),
	held(point.DrumStatus, point.DriveStopped, point.DriveRunning, 3, "drum_not_running"),
	held(point.AirProving, 0, 1, 0.5, "air_lost"),
	held(point.BlowerFault, 4, 0, 0.3, "blower_drive"),
	held(point.HighLimitHealthy, 0, 1, 0, "high_limit"),
	at(point.Bean, 244.9, 245, 150, 1, "bean_high"),
	at(point.InletAir, 349.9, 350, 250, 1, "inlet_high"),
	at(point.Exhaust, 269.9, 270, 180, 1, "exhaust_high"),
	at(point.DrumSkin, 299.9, 300, 220, 2, "skin_high"),
	at(point.HeaterElement, 649.9, 650, 400, 1, "element_high"),
	at(point.HighLimit, 319.9, 320, 200, 1, "limit_probe_high"),
	{id: "unit_lost", live: true,
		quiet: func(r *rig) {
			r.img.In[point.DrumHz] = point.Value{V: 50, Quality: point.Uncertain, Cause: point.Timeout, AgeS: 1.9}
			r.runS(5)
			r.good(point.DrumHz)
		},
		on: func(r *rig) { r.bad(point.DrumHz, point.Timeout, 2.05) }, off: func(r *rig) { r.good(point.DrumHz) }},
	{id: "output_lost", fromS: 2, live: true, quiet: both(unheard(point.BlowerSpeed), run(1.9), heardAll, run(3), unheard(point.Horn), run(5), heardAll, run(3)),
		on: unheard(point.RadiantPower), off: heardAll},
	broken(point.Bean, 0.75, "bean_probe"),
	broken(point.InletAir, 0.75, "inlet_probe"),
	broken(point.DrumSkin, 0.75, "skin_probe"),
	stillProbe(point.Bean, "bean_frozen"),
	stillProbe(point.InletAir, "inlet_frozen"),
	stillProbe(point.DrumSkin, "skin_frozen"),
	climbs(point.Bean, 1.9, 2.6, 3, "bean_rise", nil),
	climbs(point.InletAir, 0.25, 0.5, 5, "air_heats_unasked", func(r *rig) { r.w.Out[point.AirHeaterPower] = 0; r.runS(16) }),
	climbs(point.DrumSkin, 0.25, 0.5, 5, "skin_heats_unasked", heatOffFor(91)),
	{id: "contactor_stuck", fromS: 0.5, setup: heatOffFor(2),
		quiet: short(0.5, func(r *rig) { r.mirror = 1 }, func(r *rig) { r.mirror = -1 }),
		on:    func(r *rig) { r.mirror = 1 }, off: func(r *rig) { r.mirror = -1 }},
	{id: "contactor_open", fromS: 0.5, live: true,
		quiet: short(0.5, func(r *rig) { r.mirror = 0 }, func(r *rig) { r.mirror = -1 }),
		on:    func(r *rig) { r.mirror = 0 }, off: func(r *rig) { r.mirror = -1 }},
	func() fault { // 5 % of 2300 W at 230 V: 0.5 A
		f := at(point.AirHeaterCurrent, 0.49, 0.51, 0, 1, "air_current_unasked")
		f.setup, f.live = func(r *rig) { r.w.Out[point.AirHeaterPower] = 0; r.runS(1) }, false
		return f
	}(),
	func() fault { // 5 % of 1150 W at 230 V: 0.25 A
		f := at(point.RadiantCurrent, 0.24, 0.26, 0, 2, "radiant_current_unasked")
		f.setup, f.live = func(r *rig) { r.w.Out[point.RadiantPower] = 0; r.runS(1) }, false
		return f
	}(),
	func() fault {
		f := at(point.RadiantCurrent, 0.24, 0.26, 0, 1, "heat_not_removed")
		f.setup, f.live = heatOffFor(1), false
		return f
	}(),
	func() fault {
		f := held(point.CoolingFanRunning, 0, 1, 3, "cooling_fan")
		f.setup, f.live = func(r *rig) { r.w.Out[point.CoolingFan] = 1; r.runS(1) }, false
		return f
	}(),
	held(point.CoverClosed, 0, 1, 1, "cover"),
	held(point.SupplyHealthy, 0, 1, 0.5, "supply_lost"),
	held(point.PhasesHealthy, 0, 1, 1, "phase_lost"),
	{id: "scan_late", live: true,
		quiet: func(r *rig) { r.dt = 0.95; r.scan(); r.dt = 0.1; r.runS(2) },
		on:    func(r *rig) { r.dt = 1.05 }, off: func(r *rig) { r.dt = 0.1 }},
	{id: "bad_wish", live: true,
		on:  func(r *rig) { r.w.Out[point.Stirrer] = math.NaN() },
		off: func(r *rig) { r.w.Out[point.Stirrer] = 0 }},
}...)

// columns are the entries of the cause-and-effect matrix for a machine that
// runs with drum 50 Hz, blower 20 of 50 Hz and no cooling fan.
var columns = map[string]struct{ drumHz, blowerHz, fan float64 }{
	"S1": {50, 30, 1}, // air at least 60 %
	"S2": {50, 0, 0},
	"S3": {0, 50, 1},
	"S4": {50, 50, 1},
	"S5": {50, 50, 1},
	"S6": {0, 0, 0},
}

func (r *rig) checkColumns(state string, drumHz float64) {
	r.t.Helper()
	c, p := columns[state], &r.p
	if r.g.State().Code() != state || r.rec.Safety.SafeState != state {
		r.t.Fatalf("state %s (%v), want %s", r.g.State().Code(), r.g.Latched(), state)
	}
	if !p.Issued() {
		r.t.Fatal("permit not issued")
	}
	for _, o := range [...]point.Output{point.HeatEnable, point.AirHeaterPower, point.RadiantPower} {
		if p.Value(o) != 0 || !p.Covers(o) {
			r.t.Fatalf("%s: %s is %v, covered %v", state, o, p.Value(o), p.Covers(o))
		}
	}
	on := func(hz float64) float64 { return math.Min(1, hz) }
	for o, want := range map[point.Output]float64{point.DrumRun: on(drumHz), point.DrumSpeed: drumHz,
		point.BlowerRun: on(c.blowerHz), point.BlowerSpeed: c.blowerHz, point.CoolingFan: c.fan, point.Horn: 1} {
		if p.Value(o) != want || !p.Covers(o) {
			r.t.Fatalf("%s: %s is %v, want %v; covered %v", state, o, p.Value(o), want, p.Covers(o))
		}
	}
}

func rowOf(t reporter, m *profiles.Machine, id string) safety.Row {
	t.Helper()
	for _, row := range safety.Rows(m) {
		if row.ID == id {
			return row
		}
	}
	t.Fatalf("no row %s", id)
	return safety.Row{}
}

func machineFor(id string) *profiles.Machine {
	m := fullMachine()
	if id == "bean_fire" { // else bean_high is first
		m.Limits.BeanHigh = profiles.Trip{At: 250, AfterS: 5}
	}
	switch id {
	case "bean_off_model", "bean_doubtful":
		m.Bed.GasToBeans, m.Bed.GasToDrum, m.Bed.GasShare, m.Bed.ProbeLagS = 10, 2, 0.1, 5
	case "skin_not_rising":
		m.Heaters.Radiant.AreaM2, m.Heaters.Radiant.Emissivity = 0.05, 0.7
	}
	if id == "drum_stall" { // else a short stop is a slip
		m.Limits.SlipTrip, m.Limits.SlipTripS = 0.9, 10
	}
	return m
}

func TestEveryRow(t *testing.T) {
	peertest.OnceIsEnough(t)
	for _, f := range faults {
		t.Run(f.id, func(t *testing.T) { tryRow(t, f, nil) })
	}
}

// tryRow plays a latching row from before it to after its reset. change, if any,
// spoils the gate first.
func tryRow(t reporter, f fault, change func(*safety.Gate)) {
	t.Helper()
	m := machineFor(f.id)
	row := rowOf(t, m, f.id)
	r := newRig(t, m)
	if change != nil {
		change(r.g)
	}
	r.roast()
	if f.setup != nil {
		f.setup(r)
	}
	if f.quiet != nil {
		f.quiet(r)
	}
	if r.g.Tripped() {
		t.Fatalf("tripped without cause: %v", r.g.Latched())
	}
	f.on(r)
	n := r.until(f.id, f.fromS+f.toS+1)
	low := int(math.Ceil(f.fromS/0.1 - 1e-9))
	high := max(low, int(f.toS/0.1+1e-9))
	if n < low || n > high {
		t.Errorf("trips %d scans after the first sight, want %d to %d", n, low, high)
	}
	if first := r.g.First(); first == nil || first.ID != f.id || r.rec.Safety.First != f.id {
		t.Fatalf("first cause %v", first)
	}
	r.checkColumns(row.State.Code(), columns[row.State.Code()].drumHz)

	lasts := f.id != "drum_stall" && f.id != "drum_slip" && f.id != "drum_fast" && f.id != "drum_not_running" && // the drum is off now
		f.id != "bean_frozen" && f.id != "contactor_open" && !f.fades
	if lasts {
		if ok, why := r.g.Reset("Ada", true, &r.rec); ok {
			t.Errorf("reset while the cause stands: %s", why)
		}
	}
	f.off(r)
	if f.id == "contactor_open" {
		r.mirror = 0 // as its permit says
	}
	r.runS(max(25, 2*row.AfterS+5, f.goneS))
	if !r.latched(f.id) || r.g.State() != row.State {
		t.Errorf("the latch has gone by itself: %v", r.g.Latched())
	}
	if ok, _ := r.g.Reset("Ada", false, &r.rec); ok {
		t.Error("reset from the network")
	}
	if row.State == safety.S2 {
		r.leaveShut(f.id)
	}
	if ok, why := r.g.Reset(" ", true, &r.rec); ok == (row.Class == safety.WithFinding) {
		t.Errorf("reset without a name: %v, %s", ok, why)
	}
	if row.Class == safety.WithFinding {
		if ok, why := r.g.Reset("Ada", true, &r.rec); !ok {
			t.Errorf("reset refused: %s", why)
		}
	}
	if r.g.Tripped() || r.g.State() != safety.S0 || r.g.First() != nil || r.g.NumLatched() != 0 {
		t.Errorf("after the reset: %v", r.g.Latched())
	}
	// Heat never comes back by itself, but does when asked for anew.
	r.mirror, r.beans = -1, false
	if r.w.Out[point.HeatEnable] == 1 {
		r.wishRoast()
	}
	r.runS(15)
	if r.heating() {
		t.Error("heat came back after the reset without being asked for anew")
	}
	r.wishNoHeat()
	r.runS(8)
	r.wishRoast()
	r.runS(1)
	if !r.heating() || r.g.Tripped() {
		t.Errorf("no heat after all: %q, %v", r.rec.Safety.HeldBack, r.g.Latched())
	}
}

// leaveShut waits until a suspected fire may be reset: fifteen minutes after the
// trip and with beans below 100 °C (estimates, common practice, no source).
func (r *rig) leaveShut(id string) {
	r.t.Helper()
	r.glide(point.Bean, 100)
	r.runS(905)
	if ok, why := r.g.Reset("Ada", true, &r.rec); ok || !strings.Contains(why, "100 °C") {
		r.t.Errorf("reset of %s with beans at 100 °C: %v, %q", id, ok, why)
	}
	r.glide(point.Bean, 99)
	r.runS(4)
}

func TestTheTableIsTriedWhole(t *testing.T) {
	trips, warns := map[string]bool{"restart_hot": true, safety.UnknownTrip: true}, map[string]bool{}
	for _, f := range faults {
		trips[f.id] = true
	}
	for _, f := range append(warnings, holds...) {
		warns[f.id] = true
	}
	for _, row := range safety.Rows(fullMachine()) {
		if row.Warn == trips[row.ID] || row.Warn != warns[row.ID] {
			t.Errorf("row %s: warns %v, tried as trip %v, as warning %v", row.ID, row.Warn, trips[row.ID], warns[row.ID])
		}
		if row.Cause == "" || row.Consequence == "" || row.Action == "" || (row.State == safety.S0) != row.Warn {
			t.Errorf("row %s is not whole", row.ID)
		}
	}
}

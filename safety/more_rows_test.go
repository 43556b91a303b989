package safety_test

import (
	"math"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/safety"
)

// loose lets inputs follow the permits again.
func loose(in ...point.Input) func(*rig) {
	return func(r *rig) {
		for _, i := range in {
			r.fixed[i] = false
		}
	}
}

func both(fs ...func(*rig)) func(*rig) {
	return func(r *rig) {
		for _, f := range fs {
			f(r)
		}
	}
}

func set(i point.Input, v float64) func(*rig) { return func(r *rig) { r.set(i, v) } }
func run(s float64) func(*rig)                { return func(r *rig) { r.runS(s) } }

// current is a fault of a heater's current: not enough at quietA, enough at onA.
func current(i point.Input, quietA, onA, quietS, fromS, toS float64, id string) fault {
	return fault{id: id, fromS: fromS, toS: toS, fades: true,
		quiet: both(set(i, quietA), run(quietS), loose(i), run(20)), on: set(i, onA), off: loose(i)}
}

// shiftAll moves every probe of the converter by so much.
func shiftAll(k float64) func(*rig) {
	return func(r *rig) {
		for _, i := range [...]point.Input{point.Bean, point.InletAir, point.DrumSkin, point.Exhaust, point.HeaterElement} {
			r.set(i, r.lastBase[i]+k)
		}
	}
}

// spikes makes every n-th sample of the exhaust 30 K too high.
func spikes(n int) func(*rig) {
	return func(r *rig) {
		r.each = func(r *rig) {
			r.still[point.Exhaust] = true
			if r.img.In[point.Exhaust].V = 180; r.n%n == 0 {
				r.img.In[point.Exhaust].V = 210
			}
		}
	}
}

func noSpikes(r *rig) {
	r.each = nil
	r.still[point.Exhaust] = false
	r.set(point.Exhaust, 180)
}

// known lets the device name another constant.
func known(raw float64) func(*rig) { return func(r *rig) { r.img.Known[0].V = raw } }

// unread gives the device's constant a quality.
func unread(q point.Quality) func(*rig) {
	return func(r *rig) { r.img.Known[0].Quality, r.img.Known[0].Cause = q, point.Timeout }
}

// back lets the air heater's device hold something beside what it was told.
func back(add float64) func(*rig) { return func(r *rig) { r.backAdd = add } }

// stuckAt asks the air heater for another power while its device keeps the old.
func stuckAt(duty float64) func(*rig) {
	return func(r *rig) { r.backHeld, r.w.Out[point.AirHeaterPower] = true, duty }
}

func let(r *rig) { r.backHeld = false }

// charged plays a charge in which bean and exhaust fall by so much, up to half a
// second before the end of its first minute.
func charged(beanK, exhaustK float64) func(*rig) {
	return func(r *rig) {
		r.sinceS = 0
		r.set(point.Bean, 180)
		r.set(point.Exhaust, 200)
		r.runS(5)
		r.sinceS = 0.1
		r.glide(point.Bean, 180-beanK)
		r.glide(point.Exhaust, 200-exhaustK)
		for r.sinceS < 59.5 {
			r.scan()
		}
	}
}

// learnt lets a roast at rest go on until the exchange of air and beans is known.
func learnt(r *rig) {
	for r.sinceS < 235 {
		r.scan()
	}
}

// moreFaults has an entry for each latching row that was thought of later;
// thresholds and delays are estimates (common practice, no source).
var moreFaults = []fault{
	{id: "device_wrong", live: true, on: known(4712), off: known(4711)},
	{id: "write_not_applied", fromS: 1, toS: 1.7, live: true, // half a second is the device's
		quiet: both(stuckAt(0.4), run(1.3), let, run(5), stuckAt(0.5), run(1.3), let, run(5)),
		on:    stuckAt(0.4), off: let},
	{id: "foreign_write", live: true,
		quiet: both(back(0.0005), run(2), back(0), run(2), stuckAt(0.4), run(0.4), let, run(5)), // of a step of 0.1 %
		on:    back(0.001), off: back(0)},
	at(point.Collector, 149.9, 150, 60, 1, "collector_high"),
	climbs(point.Collector, 2.8, 3.4, 2, "collector_rise", nil),
	{id: "tray_hot", fromS: 1,
		setup: func(r *rig) {
			r.set(point.CoolingTray, 30)
			r.trayS = 119.9
			r.runS(1)
			r.set(point.CoolingTray, 81)
			r.runS(3)
			r.set(point.CoolingTray, 30)
			r.trayS = 120.1
			r.runS(5)
		},
		quiet: both(set(point.CoolingTray, 80), run(3), set(point.CoolingTray, 30), run(5)),
		on:    set(point.CoolingTray, 80.1), off: set(point.CoolingTray, 30)},
	climbs(point.CoolingTray, 0.4, 0.6, 10, "tray_rise", func(r *rig) {
		r.trayS = 60
		r.ramp[point.CoolingTray] = 0.6
		r.runS(15)
		r.ramp[point.CoolingTray] = 0
		r.trayS = 61
		r.runS(25)
	}),
	held(point.CarbonMonoxideAlarm, 1, 0, 1, "carbon_monoxide"),
	{id: "air_short", fromS: 3, live: true, // 40 % below 20 kg/h
		quiet: both(set(point.AirFlow, 12.1), run(10), loose(point.AirFlow), run(5)),
		on:    set(point.AirFlow, 11.9), off: loose(point.AirFlow)},
	{id: "drum_fast", fromS: 2, toS: 5.5, live: true,
		quiet: func(r *rig) { r.share = 1.18; r.runS(12); r.share = 1; r.runS(10) },
		on:    func(r *rig) { r.share = 1.3 }, off: func(r *rig) { r.share = 1 }},
	{id: "bean_short", fromS: 5, setup: func(r *rig) { r.beans, r.sinceS = false, 0 }, // room 20 °C
		quiet: both(set(point.Bean, 30.1), run(10), set(point.Bean, 150), run(15), set(point.Bean, 29), set(point.DrumSkin, 119), set(point.Exhaust, 119), run(10),
			set(point.Bean, 150), set(point.DrumSkin, 220), set(point.Exhaust, 180), run(15)),
		on: set(point.Bean, 29.9), off: set(point.Bean, 150)},
	{id: "bean_plunge", fromS: 1.4, toS: 3, live: true,
		quiet: func(r *rig) {
			r.ramp[point.Bean] = -24
			r.runS(3)
			r.ramp[point.Bean] = 0
			r.runS(4)
			r.glide(point.Bean, 150)
			r.runS(4)
		},
		on: func(r *rig) { r.ramp[point.Bean] = -32 }, off: func(r *rig) { r.ramp[point.Bean] = 0 }},
	{id: "beans_apart", fromS: 10, live: true,
		quiet: both(set(point.Bean2, 159.9), run(12), set(point.Bean2, 150), run(22)),
		on:    set(point.Bean2, 160.2), off: set(point.Bean2, 150)},
	{id: "bean_exhaust_swapped", fromS: 0, toS: 1,
		quiet: both(charged(40, 49), run(3)), on: charged(40, 52), off: func(r *rig) { r.beans = false }},
	{id: "bean_out_of_bed", fromS: 30,
		quiet: both(set(point.Exhaust, 155.1), run(35), set(point.Exhaust, 180), run(65)),
		on:    set(point.Exhaust, 154.9), off: set(point.Exhaust, 180)},
	{id: "probe_reversed", fromS: 3, live: true,
		quiet: both(set(point.DrumSkin, 15.1), run(5), set(point.DrumSkin, 220), run(10)),
		on:    set(point.DrumSkin, 14.9), off: set(point.DrumSkin, 220)},
	{id: "probe_swamped", fromS: 23, toS: 26, goneS: 65, fades: true,
		quiet: both(spikes(12), run(70), noSpikes, run(65)), on: spikes(4), off: noSpikes},
	{id: "converter_shift", fromS: 0.3, toS: 1, live: true, fades: true,
		quiet: both(shiftAll(4.9), run(4), shiftAll(-4.9), run(4)), on: shiftAll(6), off: func(*rig) {}},
	// 805 W into panels of 500 J/K over a drum of 1 kJ/K, both at 50 °C, make the
	// drum 15 K warmer in 182.6 s (computed independently, Python, steps of 1 ms).
	{id: "skin_not_rising", fromS: 3, fades: true,
		setup: func(r *rig) {
			r.beans, r.sinceS = false, 0
			r.w.Out[point.RadiantPower] = 0.7
			r.runS(25) // the means of demand and current settle
			r.set(point.DrumSkin, 50)
		},
		quiet: func(r *rig) { r.runS(182 + 3); r.set(point.DrumSkin, 59); r.runS(6) },
		on:    set(point.DrumSkin, 50), off: set(point.DrumSkin, 220)},
	// The exchange is learnt at rest; a tenth of what the probe feels is air.
	{id: "bean_off_model", fromS: 15, toS: 15.5, fades: true, setup: learnt,
		quiet: func(r *rig) { r.glide(point.Bean, 136.7); r.runS(20); r.glide(point.Bean, 150); r.runS(10) },
		on:    func(r *rig) { r.glide(point.Bean, 136.7); r.set(point.Bean, 136.3) }, off: func(r *rig) { r.glide(point.Bean, 150) }},
	// At half power 5 A of the air heater's 10 and 2.5 A of the panels' 5.
	current(point.AirHeaterCurrent, 3.3, 2.5, 10, 2, 2, "air_half_wave"),
	current(point.AirHeaterCurrent, 6.4, 8, 30, 10, 13, "air_not_following"),
	current(point.RadiantCurrent, 1.65, 1.25, 10, 2, 2, "radiant_half_wave"),
	current(point.RadiantCurrent, 3.2, 4, 30, 10, 13, "radiant_not_following"),
	// 60 % of 10 A and 10 % of 5 A, exchanged.
	{id: "heaters_exchanged", fromS: 2, toS: 3, fades: true,
		setup: func(r *rig) { r.w.Out[point.AirHeaterPower], r.w.Out[point.RadiantPower] = 0.6, 0.1; r.runS(20) },
		quiet: both(set(point.RadiantCurrent, 3), run(3), loose(point.RadiantCurrent), run(20)),
		on:    both(set(point.AirHeaterCurrent, 1), set(point.RadiantCurrent, 3)), off: loose(point.AirHeaterCurrent, point.RadiantCurrent)},
	at(point.MainsVoltage, 195.6, 195.4, 230, 0.2, "mains_low"), // 15 % below 230 V: 195.5
	at(point.Cabinet, 64.9, 65, 20, 10, "cabinet_high"),
}

// warnings has an entry for each row that only warns.
var warnings = []fault{
	{id: "drum_slow", fromS: 5, toS: 9, on: func(r *rig) { r.share = 0.8 }, off: func(r *rig) { r.share = 1 }},
	broken(point.Exhaust, 1, "exhaust_probe"), broken(point.HeaterElement, 1, "element_probe"), broken(point.HighLimit, 1, "limit_probe"),
	{id: "beans_differ", fromS: 30, quiet: both(set(point.Bean2, 154.9), run(35), set(point.Bean2, 150), run(62)), on: set(point.Bean2, 155.2), off: set(point.Bean2, 150), goneS: 65},
	{id: "bean_in_gas", fromS: 15, quiet: both(set(point.Exhaust, 155.1), run(20), set(point.Exhaust, 180), run(35)), on: set(point.Exhaust, 154.9), off: set(point.Exhaust, 180), goneS: 35},
	{id: "probe_noise", fromS: 2, toS: 4, quiet: both(spikes(40), run(30), noSpikes, run(12)), on: spikes(8), off: noSpikes},
	{id: "air_open", fromS: 3, toS: 5, quiet: both(set(point.AirHeaterCurrent, 4.1), run(40), loose(point.AirHeaterCurrent), run(20)), on: set(point.AirHeaterCurrent, 0), off: loose(point.AirHeaterCurrent)},
	{id: "radiant_open", fromS: 3, toS: 5, quiet: both(set(point.RadiantCurrent, 2.05), run(40), loose(point.RadiantCurrent), run(20)), on: set(point.RadiantCurrent, 0), off: loose(point.RadiantCurrent)},
	// Half of 2300 W, 95 % of it, in 20 kg/h of 1020 J/(kg K) make 193 K; 30 % of that over 20 °C is 77.8 °C.
	{id: "air_no_heat", fromS: 20, goneS: 45, quiet: both(run(60), set(point.InletAir, 78.5), run(30), set(point.InletAir, 250), run(45)), on: set(point.InletAir, 77), off: set(point.InletAir, 250)},
	func() fault {
		f := at(point.Collector, 119.8, 120, 60, 2, "collector_warm")
		f.on = func(r *rig) { r.glide(point.Collector, 119.8); r.set(point.Collector, 120) }
		return f
	}(),
	{id: "cabinet_warm", fromS: 60, goneS: 125, quiet: both(set(point.Cabinet, 54.9), run(70), set(point.Cabinet, 30), run(5)), on: set(point.Cabinet, 55), off: set(point.Cabinet, 30)},
	{id: "air_weak", fromS: 30, goneS: 65, quiet: both(set(point.AirFlow, 16.1), run(40), loose(point.AirFlow), run(5)), on: set(point.AirFlow, 15.9), off: loose(point.AirFlow)},
	// 130 % of 1.5 A and 80 % of 1 A.
	{id: "drum_load_high", fromS: 5, goneS: 20, quiet: both(set(point.DrumCurrent, 1.94), run(9), set(point.DrumCurrent, 1.2), run(9)), on: set(point.DrumCurrent, 1.96), off: set(point.DrumCurrent, 1.2)},
	{id: "drum_load_low", fromS: 2, quiet: both(set(point.DrumCurrent, 0.81), run(5), set(point.DrumCurrent, 1.2)), on: set(point.DrumCurrent, 0.79), off: set(point.DrumCurrent, 1.2)},
	{id: "drop_overdue", fromS: 2, setup: func(r *rig) { r.roastS = 200 },
		quiet: func(r *rig) {
			r.dropC, r.latestS = 142.1, 140.1
			r.runS(5)
			r.roastS = 59
			r.dropC = 100
			r.runS(5)
			r.roastS, r.dropC = 200, 142.1
		},
		on: func(r *rig) { r.dropC = 141.9 }, off: func(r *rig) { r.dropC = 0 }},
	{id: "double_charge", fromS: 2, toS: 3,
		quiet: func(r *rig) {
			r.glide(point.Bean, 138.1)
			r.runS(5)
			r.glide(point.Bean, 150)
			r.set(point.InletAir, 175) // hardly hotter: beans may cool
			r.runS(5)
			r.glide(point.Bean, 130)
			r.runS(5)
			r.set(point.InletAir, 250)
			r.glide(point.Bean, 150)
			r.runS(10)
		},
		on: func(r *rig) { r.ramp[point.Bean] = -15; r.runS(2); r.ramp[point.Bean] = 0 }, off: func(r *rig) { r.glide(point.Bean, 150) }},
	{id: "bean_doubtful", fromS: 60, toS: 60.5, goneS: 125, setup: learnt,
		quiet: func(r *rig) { r.glide(point.Bean, 143); r.runS(65); r.glide(point.Bean, 150); r.runS(10) },
		on:    func(r *rig) { r.glide(point.Bean, 143); r.set(point.Bean, 142.6) }, off: func(r *rig) { r.glide(point.Bean, 150) }},
	{id: "computer_tight", fromS: 10, goneS: 25, quiet: both(computer(safety.Computer{CPUC: 79.9, MemoryFreePct: 20, DiskFreeMB: 200}), run(15), computer(safety.Computer{}), run(2)),
		on: computer(safety.Computer{CPUC: 80}), off: computer(safety.Computer{CPUC: 70})},
	{id: "cold_charge", fromS: 2, quiet: both(set(point.DrumSkin, 120.1), func(r *rig) { r.sinceS = 1 }, run(5), set(point.DrumSkin, 119), func(r *rig) { r.sinceS = 31 }, run(5)),
		on: func(r *rig) { r.sinceS = 1 }, off: func(r *rig) { r.sinceS = 100 }},
}

// tryWarning plays a row that only warns.
func tryWarning(t reporter, f fault, change func(*safety.Gate)) {
	t.Helper()
	r := newRig(t, machineFor(f.id))
	if change != nil {
		change(r.g)
	}
	r.roast()
	if f.setup != nil {
		f.setup(r)
	}
	standing := func() bool { return r.rec.Alarms.Stands(f.id) }
	if f.quiet != nil {
		if f.quiet(r); standing() || r.g.Tripped() {
			t.Errorf("%s warns too soon; latched %v", f.id, r.g.Latched())
		}
	}
	f.on(r)
	n := 0
	for ; !standing() && n < 1000; n++ {
		r.scan()
	}
	if f.id == "double_charge" {
		n += 20 // in on
	}
	if n--; n < int(math.Ceil(f.fromS*10-1e-9)) || n > int(math.Max(f.fromS, f.toS)*10+1e-9) {
		t.Errorf("%s warns after %d scans", f.id, n)
	}
	horn := 1.0
	if r.rec.Alarms.Find(f.id).Priority == record.PriorityLow {
		horn = 0
	}
	if r.g.Tripped() || !r.heating() || r.p.Value(point.Horn) != horn {
		t.Errorf("%s does more or less than warn: latched %v, heat %v", f.id, r.g.Latched(), r.heating())
	}
	f.off(r)
	if r.runS(max(20, f.goneS)); standing() {
		t.Errorf("%s stays", f.id)
	}
	if a := r.rec.Alarms.Find(f.id); a.State.Stands() || !a.State.Unacknowledged() {
		t.Errorf("%s is %s when gone, unseen by anybody", f.id, a.State)
	}
}

// holds has an entry for each row that refuses to begin heat: it must warn, not
// trip, and keep heat from beginning until it is gone.
var holds = []fault{
	{id: "air_at_start", setup: func(r *rig) { r.wishRoast(); r.wishNoHeat(); r.runS(12) },
		quiet: both(set(point.AirFlow, 14.1), run(5), loose(point.AirFlow), run(8)), on: both(set(point.AirFlow, 13.9), run(4)), off: both(loose(point.AirFlow), run(8))},
	{id: "proving_stuck", setup: run(25), // 30 s from the blower's stop, and 2 s of the switch
		quiet: both(set(point.AirProving, 1), run(4), set(point.AirProving, 0), run(5), set(point.AirProving, 1), run(1.5), set(point.AirProving, 0), run(1)),
		on:    both(set(point.AirProving, 1), run(2.5)), off: both(set(point.AirProving, 0), run(0.5), loose(point.AirProving), run(0.2))},
	{id: "pulses_at_rest", setup: run(20),
		on: func(r *rig) { r.each = hum; r.runS(8); r.each = nil; r.runS(5) }, off: run(30)},
	{id: "device_unseen", setup: run(1),
		quiet: both(unread(point.Bad), run(1.9), unread(point.Good), run(5), unread(point.Uncertain), run(5), unread(point.Good)),
		on:    both(unread(point.Bad), run(2.2)), off: both(unread(point.Good), run(5))},
	{id: "computer_failing", setup: run(1),
		quiet: both(computer(safety.Computer{CPUC: 84.9, MemoryFreePct: 10, DiskFreeMB: 50}), run(15), computer(safety.Computer{DiskFreeMB: 49}), run(9), computer(safety.Computer{}), run(5)),
		on:    both(computer(safety.Computer{MemoryFreePct: 9}), run(11)), off: both(computer(safety.Computer{MemoryFreePct: 40}), run(25))},
	{id: "cold_probes_apart", setup: run(1),
		quiet: both(set(point.InletAir, 27.9), run(1), set(point.InletAir, 20), run(1)),
		on:    both(set(point.InletAir, 68), run(1)), off: both(set(point.InletAir, 20), run(1))}, // 20 °C in Fahrenheit
}

func computer(c safety.Computer) func(*rig) { return func(r *rig) { r.computer = c } }

func unheard(o point.Output) func(*rig) { return func(r *rig) { r.unheard[o] = true } }

func heardAll(r *rig) { r.unheard = [point.NumOutputs]bool{} }

func hum(r *rig) { r.pulses++ }

func tryHold(t reporter, f fault, change func(*safety.Gate)) {
	t.Helper()
	m := fullMachine()
	m.Batch.RunDownBelow = 80 // a probe that counts in Fahrenheit must not look like a hot machine
	r := newRig(t, m)
	if change != nil {
		change(r.g)
	}
	r.scan()
	f.setup(r)
	begins := func() bool {
		w := r.w
		r.wishRoast()
		r.scan()
		r.wishNoHeat()
		r.runS(8)
		r.wishRoast()
		r.scan()
		heat := r.heating()
		r.w = w
		r.scan()
		return heat
	}
	if f.quiet != nil {
		if f.quiet(r); r.rec.Alarms.Stands(f.id) {
			t.Errorf("%s warns too soon", f.id)
		}
	}
	f.on(r)
	if !r.rec.Alarms.Stands(f.id) || r.g.Tripped() {
		t.Errorf("%s: stands %v, latched %v", f.id, r.rec.Alarms.Stands(f.id), r.g.Latched())
	}
	if begins() {
		t.Errorf("%s: heat begins", f.id)
	}
	f.off(r)
	if r.rec.Alarms.Stands(f.id) {
		t.Errorf("%s stays", f.id)
	}
	if !begins() {
		t.Errorf("%s is gone and heat does not begin: %q, latched %v", f.id, r.rec.Safety.HeldBack, r.g.Latched())
	}
}

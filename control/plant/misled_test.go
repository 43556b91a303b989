package plant

import (
	"math"
	"testing"
)

// inRoast is a machine in the middle of a roast, beside one that goes on without
// the fault.
func inRoast(t *testing.T, fault string) (with, without *running) {
	t.Helper()
	with, without = charged(t, Kilo(), 171, 203, 600), charged(t, Kilo(), 171, 203, 600)
	with.settle(200, 280, 600)
	without.settle(200, 280, 600)
	inject(t, with.m, fault)
	return with, without
}

// What a misled probe shows, by what the sound one of a second machine shows at
// the same time.
func TestMisledProbes(t *testing.T) {
	for _, c := range []struct {
		fault string
		got   func(*Readings) ProbeReading
		want  func(*Readings) float64
	}{
		{"bean_exhaust_swapped", func(r *Readings) ProbeReading { return r.BeanProbe }, func(r *Readings) float64 { return r.ExhaustProbe.C }},
		{"bean_exhaust_swapped", func(r *Readings) ProbeReading { return r.ExhaustProbe }, func(r *Readings) float64 { return r.BeanProbe.C }},
		{"inlet_scaled_f", func(r *Readings) ProbeReading { return r.InletProbe }, func(r *Readings) float64 { return r.InletProbe.C*1.8 + 32 }},
		{"skin_reversed", func(r *Readings) ProbeReading { return r.SkinProbe }, func(r *Readings) float64 { return 50 - r.SkinProbe.C }},
		{"skin_probe_loose", func(r *Readings) ProbeReading { return r.SkinProbe }, func(r *Readings) float64 { return 25 + 0.05*(r.SkinProbe.C-25) }},
		{"converter_shift", func(r *Readings) ProbeReading { return r.ElementProbe }, func(r *Readings) float64 { return r.ElementProbe.C + 30 }},
		{"converter_shift", func(r *Readings) ProbeReading { return r.BeanProbe }, func(r *Readings) float64 { return r.BeanProbe.C + 30 }},
	} {
		with, without := inRoast(t, c.fault)
		with.m.Step(scanS)
		without.m.Step(scanS)
		a, b := with.m.Readings(), without.m.Readings()
		if got := c.got(&a); got.Status != ProbeWrong {
			t.Errorf("%s: the judge is told %s", c.fault, got.Status)
		}
		near(t, c.fault, c.got(&a).C, c.want(&b), 1.5) // noise, in Fahrenheit too
		if a.Bean2Probe.Status != ProbeGood || math.Abs(a.Bean2Probe.C-b.BeanProbe.C) > 1.5 {
			t.Errorf("%s: the second bean probe shows %+v", c.fault, a.Bean2Probe)
		}
		clearFault(t, with.m, c.fault)
		with.m.Step(scanS)
		a = with.m.Readings()
		if got := c.got(&a); got.Status != ProbeGood {
			t.Errorf("%s: gone, but %+v", c.fault, got)
		}
	}
}

func TestProbeOutOfTheBedFeelsGas(t *testing.T) {
	with, without := inRoast(t, "bean_probe_out_of_bed")
	with.settle(200, 280, 600)
	without.settle(200, 280, 600)
	a, b := with.m.Readings(), without.m.Readings()
	if a.BeanProbe.Status != ProbeWrong || a.BeanProbe.C < b.BeanProbe.C+15 {
		t.Errorf("%+v; in the bed %+v", a.BeanProbe, b.BeanProbe)
	}
	near(t, "out of the bed", a.BeanProbe.C, a.ExhaustProbe.C, 6)
}

func TestNoisyProbe(t *testing.T) {
	with, _ := inRoast(t, "bean_probe_noise")
	spikes := 0
	for range 1000 {
		with.scan(280, 600)
		if with.m.Readings().BeanProbe.C > with.m.x[xBeanProbe]+25 {
			spikes++
		}
	}
	if spikes < 150 || spikes > 250 { // a fifth; five standard deviations either way
		t.Errorf("%d spikes in 1000 samples", spikes)
	}
}

func TestHeaterOutputFaults(t *testing.T) {
	full := func(fault string) (air, radiant float64) {
		m := newMachine(t, Kilo())
		m.SetCommands(Commands{BlowerRun: true, BlowerHz: 50, DrumRun: true, DrumHz: 50, HeatEnable: true, AirHeaterDuty: 1, RadiantDuty: 1, Heartbeat: 1})
		m.Step(scanS)
		inject(t, m, fault)
		m.Step(scanS)
		r := m.Readings()
		return r.AirHeaterA * r.MainsV, r.RadiantA * r.MainsV
	}
	p := Kilo()
	for _, c := range []struct {
		fault        string
		air, radiant float64
	}{
		{"air_heater_half_wave", 0.5, 1}, {"radiant_half_wave", 1, 0.5}, {"air_heater_weak", 2.0 / 3, 1},
		{"brown_out", 0.65 * 0.65, 0.65 * 0.65}, {"mains_low", 0.8 * 0.8, 0.8 * 0.8},
	} {
		air, radiant := full(c.fault)
		near(t, c.fault+", air heater", air, c.air*p.AirHeaterMaxW, 5)
		near(t, c.fault+", panels", radiant, c.radiant*p.RadiantMaxW, 5)
	}
	for _, fault := range []string{"air_output_frozen", "radiant_output_frozen"} {
		m := newMachine(t, p)
		cmd := Commands{BlowerRun: true, BlowerHz: 50, DrumRun: true, DrumHz: 50, HeatEnable: true, AirHeaterDuty: 0.8, RadiantDuty: 0.8}
		scan := func() Readings {
			cmd.Heartbeat++
			m.SetCommands(cmd)
			m.Step(scanS)
			return m.Readings()
		}
		scan()
		inject(t, m, fault)
		cmd.AirHeaterDuty, cmd.RadiantDuty = 0.2, 0.2
		r := scan()
		air, radiant := 0.8, 0.2
		if fault == "radiant_output_frozen" {
			air, radiant = 0.2, 0.8
		}
		near(t, fault+", air heater", r.AirHeaterA*r.MainsV, air*p.AirHeaterMaxW, 5)
		near(t, fault+", panels", r.RadiantA*r.MainsV, radiant*p.RadiantMaxW, 5)
		cmd.HeatEnable = false
		if r = scan(); r.AirHeaterA != 0 || r.RadiantA != 0 {
			t.Errorf("%s: current past an open contactor", fault)
		}
	}
}

func TestFilterBlocksSlowly(t *testing.T) {
	m := newMachine(t, Quarter())
	r := newRunning(m)
	r.settle(15, 30, 0)
	full := 3600 * m.Params().AirKgPerS
	inject(t, m, "filter_blocking")
	r.settle(20, 30, 0)
	near(t, "after 20 s", m.Readings().AirFlowKgPerH/full, 0.81, 0.03) // a second behind
	r.settle(100, 30, 0)
	near(t, "after 120 s", m.Readings().AirFlowKgPerH/full, 0.5, 0.03)
	clearFault(t, m, "filter_blocking")
	inject(t, m, "blower_reversed")
	r.settle(20, 30, 0)
	near(t, "backwards", m.Readings().AirFlowKgPerH/full, 0.4, 0.03)
	clearFault(t, m, "blower_reversed")
	inject(t, m, "proving_stuck_open")
	r.settle(20, 30, 0)
	if rd := m.Readings(); rd.AirProven || rd.AirFlowKgPerH < 0.95*full {
		t.Errorf("a switch that is stuck open: %v, %v kg/h", rd.AirProven, rd.AirFlowKgPerH)
	}
}

func TestDrumTooFastAndHum(t *testing.T) {
	m := newMachine(t, Quarter())
	r := newRunning(m)
	inject(t, m, "drum_overspeed")
	r.settle(15, 30, 0)
	p := m.Params()
	near(t, "rpm", m.Truth().DrumRPM, 1.4*p.nominalRPM(), 0.1)
	m = newMachine(t, Quarter())
	inject(t, m, "noise_pulses")
	for range 100 {
		m.Step(scanS)
	}
	if n := m.Readings().DrumPulses; n < 99 || n > 101 || m.Truth().DrumTurning {
		t.Errorf("%d pulses in 10 s from a drum that stands", n)
	}
}

func TestFireElsewhere(t *testing.T) {
	with, _ := inRoast(t, "collector_fire")
	before := with.m.Readings().CollectorProbe.C
	if before < 40 || before > 110 {
		t.Errorf("the collector is at %.0f °C in a roast", before)
	}
	with.settle(4, 280, 600)
	near(t, "collector with air", with.m.Readings().CollectorProbe.C-before, 20, 1)
	with.cmd.BlowerRun = false
	with.settle(10, 30, 0)
	before = with.m.Readings().CollectorProbe.C
	with.settle(10, 30, 0)
	near(t, "collector without air", with.m.Readings().CollectorProbe.C-before, 5, 1)

	smoulder, sound := inRoast(t, "tray_smoulder")
	for _, r := range []*running{smoulder, sound} {
		r.cmd.HeatEnable, r.cmd.CoolingFan, r.cmd.Stirrer = false, true, true
		r.m.Drop()
		r.settle(180, 30, 0)
	}
	if a, b := smoulder.m.Readings().TrayProbe.C, sound.m.Readings().TrayProbe.C; a < 120 || b > 60 {
		t.Errorf("after three minutes the tray is at %.0f °C smouldering and %.0f °C without", a, b)
	}
	if l := smoulder.m.Ledger(); math.Abs(l.ErrorJ()) > 1e-3*l.InJ() {
		t.Errorf("books out by %g J", l.ErrorJ())
	}
}

func TestRoomFaults(t *testing.T) {
	m := newMachine(t, Quarter())
	near(t, "cabinet", m.Readings().CabinetProbe.C, 35, 1)
	if m.Readings().CarbonMonoxideAlarm {
		t.Error("alarm without cause")
	}
	inject(t, m, "cabinet_hot")
	inject(t, m, "co_alarm")
	for range 1200 {
		m.Step(scanS)
	}
	near(t, "cabinet after two minutes", m.Readings().CabinetProbe.C, 47, 1)
	if !m.Readings().CarbonMonoxideAlarm {
		t.Error("no alarm")
	}
}

// A second charge on hot beans makes the probe fall a second time.
func TestChargedTwice(t *testing.T) {
	with, _ := inRoast(t, "co_alarm") // of no matter here
	with.settle(150, 280, 600)
	before := with.m.Readings().BeanProbe.C
	if err := with.m.Charge(0.8, 0.11); err != nil {
		t.Fatal(err)
	}
	with.settle(30, 280, 600)
	if fell := before - with.m.Readings().BeanProbe.C; fell < 20 {
		t.Errorf("fell by %.0f K", fell)
	}
}

func TestWhatNoCommandReaches(t *testing.T) {
	m := newMachine(t, Kilo())
	p := m.Params()
	r := newRunning(m)
	give := func(fault string) Truth {
		inject(t, m, fault)
		for range 50 {
			r.cmd.AirHeaterDuty, r.cmd.RadiantDuty = 0.2, 0.9
			r.cmd.Heartbeat++
			m.SetCommands(r.cmd)
			m.Step(scanS)
		}
		clearFault(t, m, fault)
		return m.Truth()
	}
	v := p.MainsV / p.NominalV
	x := give("heater_outputs_swapped")
	near(t, "air heater by the panels' command", x.AirHeaterW, 0.9*p.AirHeaterMaxW*v*v, 1)
	near(t, "panels by the air heater's command", x.RadiantW, 0.2*p.RadiantMaxW*v*v, 1)
	x = give("air_stuck")
	near(t, "stuck air", x.AirKgPerS, 0.3*p.AirKgPerS, 0.01*p.AirKgPerS)
	x = give("control_supply_lost")
	if x.AirHeaterW != 0 || x.RadiantW != 0 || x.ContactorClosed || !x.DrumTurning {
		t.Errorf("without control supply: %+v", x)
	}
	// What is welded stays closed without it.
	inject(t, m, "air_heater_stuck_on")
	inject(t, m, "contactor_welded")
	x = give("control_supply_lost")
	if x.AirHeaterW == 0 || x.RadiantW != 0 {
		t.Errorf("without control supply, welded: %+v", x)
	}
}

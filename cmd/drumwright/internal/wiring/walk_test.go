package wiring

import (
	"context"
	"testing"

	"drumwright/control/plant"
	"drumwright/io/point"
	"drumwright/io/sensor"
	"drumwright/profiles"
)

func example(t *testing.T, name string) *profiles.Machine {
	t.Helper()
	text, ok := profiles.Example("machines/" + name + ".yaml")
	if !ok {
		t.Fatal("no such machine: " + name)
	}
	m, err := profiles.ParseMachine(name+".yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func walked(t *testing.T, built, told *profiles.Machine, twin ...point.Input) *Record {
	t.Helper()
	say := func(string) {}
	if testing.Verbose() {
		say = func(s string) { t.Log(s) }
	}
	r, err := (&Simulation{Built: built, Told: told, Twin: twin, Who: "test", Seed: 1, Say: say}).Run(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The machine as its file says: every step is done and right.
func TestRightMachine(t *testing.T) {
	for _, name := range []string{"lark-300", "heron-1000"} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			m := onTCP(example(t, name))
			r := walked(t, m, m)
			if !r.Pass() {
				for _, x := range r.Results {
					if x.Verdict != Right {
						t.Errorf("%+v", x)
					}
				}
			}
			steps := map[string]bool{}
			for _, x := range r.Results {
				steps[x.Point] = true
			}
			for o := range point.NumOutputs {
				if m.HasOut[o] && !steps[o.String()] {
					t.Errorf("%s was not tried", o)
				}
			}
		})
	}
}

// What is wired otherwise than the file says is named, and heat is not tried
// then, but where only heat shows it.
func TestWrongWiringIsNamed(t *testing.T) {
	for _, c := range []struct {
		name, machine string
		change        func(m *profiles.Machine)
		twin          []point.Input
		point, fault  string
		with          string
		heat          bool // only heat shows it
	}{
		{name: "two probes swapped", machine: "heron-1000", point: "bean", fault: Exchanged, with: "exhaust",
			change: func(m *profiles.Machine) {
				m.In[point.Bean], m.In[point.Exhaust] = m.In[point.Exhaust], m.In[point.Bean]
			}},
		{name: "byte order of a probe", machine: "heron-1000", point: "inlet_air", fault: Layout,
			change: func(m *profiles.Machine) { m.In[point.InletAir].Order = point.BADC }},
		{name: "word order of the counter", machine: "heron-1000", point: "drum_pulses", fault: Layout,
			change: func(m *profiles.Machine) { m.In[point.DrumPulses].Order = point.CDAB }},
		{name: "drive scale a tenth", machine: "heron-1000", point: "drum_speed", fault: Scale,
			change: func(m *profiles.Machine) { m.Out[point.DrumSpeed].Scale *= 10; m.HasBack[point.DrumSpeed] = false }},
		{name: "drive scale tenfold", machine: "heron-1000", point: "drum_speed", fault: Scale,
			change: func(m *profiles.Machine) { m.Out[point.DrumSpeed].Scale /= 10; m.HasBack[point.DrumSpeed] = false }},
		{name: "resistance thermometer of another size", machine: "lark-300", point: "ambient", fault: Scale,
			change: func(m *profiles.Machine) { m.In[point.Ambient].Sensor = sensor.Pt1000 }},
		{name: "inverted switch", machine: "heron-1000", point: "cover_closed", fault: Inverted,
			change: func(m *profiles.Machine) { m.In[point.CoverClosed].Inverted = !m.In[point.CoverClosed].Inverted }},
		{name: "heaters exchanged, with currents", machine: "heron-1000", point: "air_heater_power", fault: Exchanged, with: "radiant_power", heat: true,
			change: exchangeHeaters},
		{name: "heaters exchanged, without currents", machine: "lark-300", point: "radiant_power", fault: Exchanged, with: "air_heater_power", heat: true,
			change: exchangeHeaters},
		{name: "duplicate unit id on TCP", machine: "heron-1000", point: "gateway unit 1", fault: TwoDevices, twin: []point.Input{point.Bean}},
		{name: "duplicate unit id on a serial line", machine: "lark-300", point: "line unit 3", fault: TwoDevices, twin: []point.Input{point.DrumPulses}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			built, told := example(t, c.machine), example(t, c.machine)
			if c.change != nil {
				c.change(told)
			}
			if c.twin == nil {
				onTCP(built)
				onTCP(told)
			}
			r := walked(t, built, told, c.twin...)
			if r.Pass() {
				t.Fatal("the walk passes")
			}
			named := false
			for _, x := range r.Results {
				if x.Point == c.point && x.Fault == c.fault && (c.with == "" || x.With == c.with) {
					named = true
				}
				if !c.heat && (x.Point == "air_heater_power" || x.Point == "radiant_power" || x.Point == "heat_enable") && x.Verdict != NotDone {
					t.Errorf("heat was tried though something is wrong: %+v", x)
				}
			}
			if !named {
				t.Errorf("not named: %s %s %s", c.point, c.fault, c.with)
				for _, x := range r.Results {
					if x.Verdict == Wrong {
						t.Logf("%+v", x)
					}
				}
			}
		})
	}
}

// onTCP puts a machine's buses on TCP, which is quicker to simulate.
func onTCP(m *profiles.Machine) *profiles.Machine {
	for i := range m.BusList {
		m.BusList[i].RTU, m.BusList[i].TCP = nil, &profiles.TCP{Host: "127.0.0.1", Port: 502}
	}
	return m
}

func exchangeHeaters(m *profiles.Machine) {
	for _, set := range []*[point.NumOutputs]point.Access{&m.Out, &m.Back} {
		set[point.AirHeaterPower], set[point.RadiantPower] = set[point.RadiantPower], set[point.AirHeaterPower]
	}
}

// Whoever breaks off leaves nothing running.
func TestBreakingOffStopsAll(t *testing.T) {
	m := example(t, "heron-1000")
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	turned, stands := false, false
	x := &Simulation{Built: m, Told: m, Who: "test", Seed: 1}
	x.each = func(p *madeUp) {
		p.server.With(func(machine *plant.Machine) {
			r := machine.Readings()
			stands = !r.DrumDrive.Running
			if r.DrumDrive.OutputHz > 3 && !turned {
				turned = true
				cancel()
			}
		})
	}
	if _, err := x.Run(ctx); err == nil {
		t.Fatal("the walk ended as if nothing had happened")
	}
	if !turned || !stands {
		t.Errorf("drum turned: %t, stands at the end: %t", turned, stands)
	}
}

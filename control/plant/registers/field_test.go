package registers

import (
	"context"
	"log/slog"
	"math"
	"testing"
	"time"

	"drumwright/control/plant"
	"drumwright/io/fieldbus"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/sensor"
	"drumwright/profiles"
	"drumwright/safety"
)

// shown is what the plant's readings say about a role, apart from the code that
// lays them out in registers.
func shown(r *plant.Readings, i point.Input) (v float64, ok bool) {
	contact := func(on bool) (float64, bool) {
		if on {
			return 1, true
		}
		return 0, true
	}
	drive := func(d plant.DriveReading) (float64, bool) {
		switch {
		case d.Fault:
			return point.DriveFault, true
		case d.Running:
			return point.DriveRunning, true
		}
		return point.DriveStopped, true
	}
	switch i {
	case point.Bean:
		return r.BeanProbe.C, true
	case point.Bean2:
		return r.Bean2Probe.C, true
	case point.Collector:
		return r.CollectorProbe.C, true
	case point.Cabinet:
		return r.CabinetProbe.C, true
	case point.InletAir:
		return r.InletProbe.C, true
	case point.DrumSkin, point.DrumSkin2:
		return r.SkinProbe.C, true
	case point.Exhaust:
		return r.ExhaustProbe.C, true
	case point.HeaterElement:
		return r.ElementProbe.C, true
	case point.HighLimit:
		return r.LimitProbe.C, true
	case point.Ambient:
		return r.AmbientProbe.C, true
	case point.CoolingTray:
		return r.TrayProbe.C, true
	case point.DrumPulses:
		return float64(r.DrumPulses), true
	case point.DrumCurrent:
		return r.DrumDrive.CurrentA, true
	case point.PhasesHealthy:
		return contact(r.PhasesHealthy)
	case point.SupplyHealthy:
		return contact(r.SupplyHealthy)
	case point.DrumHz:
		return r.DrumDrive.OutputHz, true
	case point.AirFlow:
		return r.AirFlowKgPerH, true
	case point.AirHeaterCurrent:
		return r.AirHeaterA, true
	case point.RadiantCurrent:
		return r.RadiantA, true
	case point.MainsVoltage:
		return r.MainsV, true
	case point.DrumStatus:
		return drive(r.DrumDrive)
	case point.BlowerStatus:
		return drive(r.BlowerDrive)
	case point.DrumFault:
		return contact(r.DrumDrive.Fault)
	case point.BlowerFault:
		return contact(r.BlowerDrive.Fault)
	case point.AirProving:
		return contact(r.AirProven)
	case point.CoolingFanRunning:
		return contact(r.CoolingFanRunning)
	case point.CoverClosed:
		return contact(r.CoverClosed)
	case point.EmergencyStopHealthy:
		return contact(r.EStopHealthy)
	case point.HighLimitHealthy:
		return contact(r.LimitHealthy)
	case point.ContactorClosed:
		return contact(r.ContactorClosed)
	case point.ChargeGateOpen:
		return contact(r.ChargeGateOpen)
	case point.DischargeDoorOpen:
		return contact(r.DischargeOpen)
	case point.CarbonMonoxideAlarm:
		return contact(r.CarbonMonoxideAlarm)
	case point.ResetButton, point.FireButton:
		return 0, true
	}
	return 0, false
}

// shop is a simulated machine with the project's own fieldbus before it.
type shop struct {
	t     *testing.T
	m     *profiles.Machine
	s     *Server
	field *fieldbus.Fieldbus
	gate  *safety.Gate
	nowS  float64
	img   point.Image
}

// openShop opens one; timeoutS is the fieldbus's patience with a reply.
func openShop(t *testing.T, m *profiles.Machine, unpaced bool, timeoutS profiles.Seconds) *shop {
	t.Helper()
	for i := range m.BusList {
		m.BusList[i].TimeoutS = timeoutS
	}
	x := &shop{t: t, m: m, s: simulated(t, m), gate: safety.NewGate(m, nil)}
	x.s.Unpaced = unpaced
	listen(t, x.s)
	var err error
	if x.field, err = fieldbus.New(m, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := x.field.Close(); err != nil {
			t.Error(err)
		}
	})
	if err := x.field.Open(context.Background()); err != nil {
		t.Fatal(err)
	}
	return x
}

func (x *shop) read() {
	x.nowS += float64(x.m.Scan.PeriodS)
	x.field.Read(context.Background(), x.nowS, time.Now().Add(20*time.Second), &x.img)
}

func (x *shop) advance(seconds float64) {
	x.t.Helper()
	for range int(seconds / 0.05) {
		if err := x.s.Advance(0.05); err != nil {
			x.t.Fatal(err)
		}
	}
}

// order has a gate permit the wishes and writes what it permits.
func (x *shop) order(w safety.Wishes) safety.Permit {
	x.t.Helper()
	var rec record.Scan
	p := x.gate.Judge(safety.Context{ScanS: x.nowS, PeriodS: float64(x.m.Scan.PeriodS)}, &x.img, &w, &rec)
	if err := x.field.Write(context.Background(), time.Now().Add(20*time.Second), &p); err != nil {
		x.t.Fatal(err)
	}
	return p
}

func (x *shop) readings() (r plant.Readings) {
	x.s.With(func(m *plant.Machine) { r = m.Readings() })
	return r
}

// check compares every input with the plant's reading.
func (x *shop) check(when string) {
	x.t.Helper()
	r := x.readings()
	for i := range point.NumInputs {
		if !x.m.HasIn[i] {
			continue
		}
		got := x.img.In[i]
		want, ok := shown(&r, i)
		if !ok {
			x.t.Errorf("no reading for %s", i)
			continue
		}
		a := &x.m.In[i]
		step := 1e-9 // contacts, states and counts are exact
		if i.Role().Kind == point.Temperature || i.Role().Kind == point.Number {
			perUnit := a.Sensor.Electrical(want+0.5, 0) - a.Sensor.Electrical(want-0.5, 0) // Ω or mV for each K
			step = math.Abs(a.Scale)/2/perUnit*1.02 + 1e-9
			if a.Sensor == sensor.None {
				step = math.Abs(a.Scale)/2 + 1e-9
			}
			if a.Type == point.Float32 {
				step = math.Abs(want)*math.Pow(2, -24) + 1e-9
			}
		}
		if got.Quality != point.Good || math.Abs(got.V-want) > step {
			x.t.Errorf("%s: %s reads %v (%s %s), the plant shows %v, one register step is %v", when, i, got.V, got.Quality, got.Cause, want, a.Scale)
		}
	}
}

// The project's fieldbus before both example machines: what it reads is what
// the plant shows, and what it writes is what the plant does.
func TestFieldbusAndPlantAgree(t *testing.T) {
	for _, c := range []struct {
		machine   string
		unpaced   bool
		hzPerStep float64 // of the drum drive's command register
	}{
		{"lark-300", true, 0.01 / 100 * 75},
		{"lark-300", false, 0.01 / 100 * 75},
		{"heron-1000", true, 0.01},
	} {
		name := c.machine
		if !c.unpaced {
			name += " paced"
		}
		t.Run(name, func(t *testing.T) {
			x := openShop(t, example(t, c.machine), c.unpaced, 3) // the computer may be busy
			x.read()
			x.read() // some points are read in every second scan only
			x.check("at rest")

			var w safety.Wishes
			w.Out[point.DrumRun], w.Out[point.DrumSpeed] = 1, 41.23
			w.Out[point.BlowerRun], w.Out[point.BlowerSpeed] = 1, 33
			w.Out[point.CoolingFan], w.Out[point.Stirrer] = 1, 1
			if p := x.order(w); p.Value(point.DrumSpeed) != 41.23 || p.Value(point.DrumRun) != 1 {
				t.Fatalf("the gate permits %v", p.Values())
			}
			x.advance(30)
			x.read()
			x.read()
			x.check("running")
			r := x.readings()
			// Half a step of the command, and half of the 0.01 Hz the drive shows.
			if hz := r.DrumDrive.OutputHz; math.Abs(hz-41.23) > c.hzPerStep/2+0.005+1e-9 {
				t.Errorf("drum drive at %v Hz, want 41.23", hz)
			}
			// The lark's blower counts in whole motor turns a minute, 60 per Hz.
			if hz := r.BlowerDrive.OutputHz; math.Abs(hz-33) > 1.0/60/2+0.005+1e-9 {
				t.Errorf("blower drive at %v Hz, want 33", hz)
			}
			if r.DrumPulses == 0 || !r.AirProven || !r.StirrerRunning {
				t.Errorf("nothing moves: %+v", r)
			}
			if !x.m.HasIn[point.CoolingFanRunning] {
				return
			}
			if !r.CoolingFanRunning {
				t.Error("cooling fan does not run")
			}
		})
	}
}

// A thermocouple is no better than its cold junction: one that cannot be, or a
// probe that is open, is told, and a warmer one is not taken for a hotter probe.
func TestThermocoupleBesideItsJunction(t *testing.T) {
	x := openShop(t, example(t, "lark-300"), true, 3)
	x.read()
	x.read()
	x.check("at rest")
	junction, element := &x.m.Junction[point.HeaterElement], &x.m.In[point.HeaterElement]
	put := func(a *point.Access, raw float64) point.Value {
		t.Helper()
		var w [2]uint16
		n, err := a.EncodeRaw(raw, &w)
		if err != nil {
			t.Fatal(err)
		}
		x.s.mu.Lock()
		x.s.bankOf(a).put(a, w[:n])
		x.s.mu.Unlock()
		x.read()
		x.read()
		return x.img.In[point.HeaterElement]
	}
	before := x.img.In[point.HeaterElement].V
	// Type K is 40 to 41 µV/K here, so that the probe goes with its terminals, K for K.
	if v := put(junction, 313+100); math.Abs(v.V-before-10) > 0.2 || v.Quality != point.Good {
		t.Errorf("with terminals warmer by 10 K and the same millivolts it reads %+v, was %v", v, before)
	}
	if v := put(junction, 900); v.Quality != point.Bad || v.Cause != point.NoJunction {
		t.Errorf("with terminals at 90 °C it reads %+v", v)
	}
	if v := put(junction, -32768); v.Quality != point.Bad || v.Cause != point.NoJunction {
		t.Errorf("with an open junction probe it reads %+v", v)
	}
	if v := put(junction, 313); v.Quality != point.Good {
		t.Errorf("with a sound junction it reads %+v", v)
	}
	if v := put(element, 30000); v.Quality != point.Bad || v.Cause != point.OpenProbe || math.Abs(v.V-before) > 1 {
		t.Errorf("at 60 mV it reads %+v, last %v", v, before)
	}
}

// Faults of the wire cost values but never falsify one.
func TestWireFaultsNeverBecomeValues(t *testing.T) {
	m := example(t, "lark-300")
	m.BusList[0].QuietS = 0.02
	x := openShop(t, m, true, 0.2)
	x.read()
	x.read()
	x.check("sound wire")
	want := x.img
	x.s.SetWireFaults(WireFaults{CorruptEvery: 3, ForeignEvery: 5})
	lost := 0
	for range 4 {
		x.read()
		for i := range point.NumInputs {
			switch got := x.img.In[i]; {
			case got.Quality == point.Good && got.AgeS == 0:
				if got.V != want.In[i].V {
					t.Errorf("%s reads %v, want %v", i, got.V, want.In[i].V)
				}
			case m.HasIn[i]:
				lost++
			}
		}
	}
	if lost == 0 {
		t.Error("no fault had any effect")
	}
}

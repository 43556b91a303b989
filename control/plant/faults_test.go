package plant

import (
	"math"
	"strings"
	"testing"
)

func inject(t *testing.T, m *Machine, name string) {
	t.Helper()
	if err := m.Inject(name); err != nil {
		t.Fatal(err)
	}
}

func clearFault(t *testing.T, m *Machine, name string) {
	t.Helper()
	if err := m.Clear(name); err != nil {
		t.Fatal(err)
	}
}

func TestFaultTable(t *testing.T) {
	seen := map[string]bool{}
	for _, f := range Faults() {
		if f.Name == "" || strings.ToLower(f.Name) != f.Name || strings.Contains(f.Name, " ") {
			t.Errorf("fault name %q is not lower-case with underscores", f.Name)
		}
		if !strings.HasSuffix(f.What, ".") {
			t.Errorf("%s: %q is not a sentence", f.Name, f.What)
		}
		if seen[f.Name] {
			t.Errorf("%s is there twice", f.Name)
		}
		seen[f.Name] = true
	}
	m := newMachine(t, Quarter())
	if err := m.Inject("drum_stal"); err == nil || !strings.Contains(err.Error(), "drum_stall") {
		t.Errorf("misspelt fault: got error %v, want one that lists the names", err)
	}
	if err := m.Clear("nope"); err == nil {
		t.Error("unknown fault cleared")
	}
	if err := m.InjectAt("air_lost", math.NaN()); err == nil {
		t.Error("fault at no time accepted")
	}
	if m.Active("nope") || !math.IsInf(m.FaultSinceS("nope"), 1) {
		t.Error("unknown fault is active")
	}
}

func TestFaultComesAtItsTime(t *testing.T) {
	m := newMachine(t, Quarter())
	if err := m.InjectAt("cover_open", 2); err != nil {
		t.Fatal(err)
	}
	near(t, "since", m.FaultSinceS("cover_open"), 2, 0)
	first := -1.0
	for range 40 {
		m.Step(scanS)
		if !m.Readings().CoverClosed && first < 0 {
			first = m.TimeS()
		}
	}
	near(t, "first seen", first, 2, 0.11)
	clearFault(t, m, "cover_open")
	m.Step(scanS)
	if !m.Readings().CoverClosed || m.Active("cover_open") {
		t.Error("fault still there after it was cleared")
	}
}

func TestDrumFaults(t *testing.T) {
	for _, c := range []struct {
		fault            string
		rpmFrac          float64
		pulses, running  bool
		driveFault       bool
		rpmReadingIsZero bool
	}{
		{"", 1, true, true, false, false},
		{"drum_stall", 0, false, true, false, true},
		{"belt_slip", 0.75, true, true, false, false},
		{"drum_drive_fault", 0, false, false, true, true},
		{"drum_pulses_lost", 1, false, true, false, true},
		{"estop_pressed", 0, false, false, false, true},
	} {
		t.Run("fault "+c.fault, func(t *testing.T) {
			m := newMachine(t, Quarter())
			r := newRunning(m)
			r.settle(15, 100, 100)
			if c.fault != "" {
				inject(t, m, c.fault)
			}
			r.settle(20, 100, 100)
			before := m.Readings().DrumPulses
			r.settle(10, 100, 100)
			rd, tr, p := m.Readings(), m.Truth(), m.Params()
			near(t, "rpm", tr.DrumRPM, c.rpmFrac*p.nominalRPM(), 0.01)
			if tr.DrumTurning != (c.rpmFrac > 0) {
				t.Errorf("turning: got %v", tr.DrumTurning)
			}
			if c.pulses {
				want := c.rpmFrac * p.nominalRPM() / 60 * 4 * 10
				near(t, "pulses in 10 s", float64(rd.DrumPulses-before), want, 1)
			} else if rd.DrumPulses != before {
				t.Errorf("%d pulses from a shaft that gives none", rd.DrumPulses-before)
			}
			if rd.DrumDrive.Running != c.running || rd.DrumDrive.Fault != c.driveFault {
				t.Errorf("drive reads %+v", rd.DrumDrive)
			}
			if (rd.DrumRPM == 0) != c.rpmReadingIsZero {
				t.Errorf("rpm reads %g", rd.DrumRPM)
			}
		})
	}
}

func TestDrumSpeedConstant(t *testing.T) {
	// 65 Hz is 62.9 rpm in a drum of 65 mm radius and 37.8 rpm in one of 108 mm
	// (trade speeds, common practice, no source; rpm computed independently).
	for _, c := range []struct {
		p    Params
		want float64
	}{{Quarter(), 62.9}, {Kilo(), 37.8}} {
		m := newMachine(t, c.p)
		m.SetCommands(Commands{DrumRun: true, DrumHz: 65})
		for range 200 {
			m.Step(scanS)
		}
		near(t, "rpm at 65 Hz", m.Truth().DrumRPM, c.want, 0.1)
	}
}

func TestDriveRampsAndNeverStartsByItself(t *testing.T) {
	m := newMachine(t, Quarter())
	cmd := Commands{DrumRun: true, DrumHz: 50}
	m.SetCommands(cmd)
	for range 25 {
		m.Step(scanS)
	}
	near(t, "half way up", m.Readings().DrumDrive.OutputHz, 25, 0.01)
	for _, fault := range []string{"estop_pressed", "drum_drive_fault"} {
		inject(t, m, fault)
		m.Step(scanS)
		clearFault(t, m, fault)
		for range 100 {
			m.Step(scanS)
		}
		near(t, fault+" gone, run still asked", m.Readings().DrumDrive.OutputHz, 0, 0)
		m.SetCommands(Commands{})
		m.Step(scanS)
		m.SetCommands(cmd)
		for range 100 {
			m.Step(scanS)
		}
		near(t, fault+" gone, run asked afresh", m.Readings().DrumDrive.OutputHz, 50, 0)
	}
}

func TestDrumCoastsWhenItsDriveCutsOut(t *testing.T) {
	m := newMachine(t, Quarter())
	r := newRunning(m)
	r.settle(15, 30, 0)
	before := m.Truth().DrumRPM
	inject(t, m, "drum_drive_fault")
	r.settle(m.Params().DrumCoastS, 30, 0)
	near(t, "left after one time constant", m.Truth().DrumRPM/before, math.Exp(-1), 0.01)
}

func TestAirFaults(t *testing.T) {
	for _, c := range []struct {
		fault   string
		flow    float64
		proven  bool
		running bool
	}{
		{"", 1, true, true},
		{"air_lost", 0, false, true},
		{"air_weak", 0.5, true, true},
		{"blower_drive_fault", 0, false, false},
		{"estop_pressed", 0, false, false},
		{"proving_stuck_closed", 1, true, true},
	} {
		t.Run("fault "+c.fault, func(t *testing.T) {
			m := newMachine(t, Quarter())
			r := newRunning(m)
			r.settle(15, 30, 0)
			if c.fault != "" {
				inject(t, m, c.fault)
			}
			r.settle(10, 30, 0)
			rd, p := m.Readings(), m.Params()
			near(t, "flow", rd.AirFlowKgPerH, c.flow*3600*p.AirKgPerS, 0.03*3600*p.AirKgPerS)
			if rd.AirProven != c.proven || rd.BlowerDrive.Running != c.running {
				t.Errorf("proven %v, drive %+v", rd.AirProven, rd.BlowerDrive)
			}
		})
	}
	m := newMachine(t, Quarter())
	inject(t, m, "proving_stuck_closed")
	m.Step(scanS)
	if !m.Readings().AirProven {
		t.Error("stuck switch is open without air")
	}
}

func TestAirLossHeatsTheElementFast(t *testing.T) {
	// Full power without air: about P/C kelvin a second, 37 for 250 g and 25 for
	// 1 kg; and the limit must open of itself before anything glows white.
	for name, p := range map[string]Params{"250 g": Quarter(), "1 kg": Kilo()} {
		t.Run(name, func(t *testing.T) {
			m := newMachine(t, p)
			m.WarmStart(Warm{SkinC: 200, InletC: 250, ExhaustC: 200, Running: true})
			r := newRunning(m)
			r.settle(1, 250, 0)
			inject(t, m, "air_lost")
			inject(t, m, "air_heater_stuck_on")
			r.settle(6, 250, 0)
			a := m.Truth().ElementC
			r.settle(1, 250, 0)
			b := m.Truth().ElementC
			near(t, "K/s", b-a, p.AirHeaterMaxW/p.ElementJPerK, 0.35*p.AirHeaterMaxW/p.ElementJPerK)
			for range 600 {
				r.scan(250, 0)
				if !m.Readings().LimitHealthy {
					break
				}
			}
			r.scan(250, 0)
			if m.Readings().LimitHealthy || m.Truth().AirHeaterW != 0 {
				t.Fatalf("limit did not take the heat: %+v", m.Truth())
			}
			if c := m.Truth().ElementC; c > 800 {
				t.Errorf("limit opened only with the element at %.0f °C", c)
			}
			if err := m.ResetLimit(); err == nil {
				t.Error("limit reset while hot")
			}
			if m.Readings().LimitProbe.C > 250 {
				t.Error("the skin limit opened, not the cut-out at the element")
			}
			r.cmd.HeatEnable = false
			clearFault(t, m, "air_lost")
			r.settle(600, 30, 0)
			if m.Readings().LimitHealthy {
				t.Error("limit closed by itself")
			}
			if err := m.ResetLimit(); err != nil {
				t.Error(err)
			}
			m.Step(scanS)
			if !m.Readings().LimitHealthy {
				t.Error("limit still open after reset")
			}
		})
	}
}

func TestStalledDrumScorchesOverThePanels(t *testing.T) {
	// 20 kW/m2 into 3 mm of steel is about 1.7 K/s (worked from density and heat
	// capacity of steel); the drums here are thinner.
	for name, p := range map[string]Params{"250 g": Quarter(), "1 kg": Kilo()} {
		t.Run(name, func(t *testing.T) {
			m := newMachine(t, p)
			m.WarmStart(Warm{SkinC: 200, InletC: 220, RadiantW: p.RadiantMaxW / 1.3, ExhaustC: 180, Running: true})
			r := newRunning(m)
			r.settle(30, 220, p.RadiantMaxW/1.3)
			tr := m.Truth()
			near(t, "patch over rest, turning", m.x[xPatch]-m.x[xOuter], 0, 2)
			inject(t, m, "drum_stall")
			r.settle(10, 220, p.RadiantMaxW/1.3)
			rate := (m.Truth().SkinHotC - tr.SkinHotC) / 10
			if rate < 1 || rate > 3 {
				t.Errorf("hot spot rises %.2f K/s, want 1 to 3", rate)
			}
			if seen := m.Readings().SkinProbe.C - tr.SkinHotC; seen > 5 {
				t.Errorf("skin probe rose %.1f K: it must not see the spot over the panels", seen)
			}
			inject(t, m, "radiant_stuck_on")
			r.settle(900, 220, 0)
			if m.Readings().LimitHealthy || m.Truth().RadiantW != 0 {
				t.Errorf("limit left panels on over a standing drum at %.0f °C", m.Truth().SkinHotC)
			}
		})
	}
}

func TestBeanFire(t *testing.T) {
	// With heat off, burning beans must still climb fast, and slower without air;
	// the books must know where the heat came from.
	rate := func(airOn bool) float64 {
		r := charged(t, Kilo(), 171, 203, 1000)
		r.settle(500, 290, 1000)
		r.cmd.HeatEnable, r.cmd.BlowerRun = false, airOn
		r.settle(20, 30, 0)
		inject(t, r.m, "bean_fire")
		a := r.m.Truth().BeanC
		r.settle(20, 30, 0)
		if l := r.m.Ledger(); math.Abs(l.ErrorJ()) > 1e-3*l.InJ() {
			t.Errorf("books out by %g J", l.ErrorJ())
		}
		return (r.m.Truth().BeanC - a) / 20
	}
	with, without := rate(true), rate(false)
	if with < 0.4 || without > 0.5*with {
		t.Errorf("beans climb %.2f K/s with air and %.2f without, want at least 0.4 and less than half of it", with, without)
	}
}

func TestFireBurnsOut(t *testing.T) {
	p := Quarter()
	p.Kinetics.ExothermFactor = 0
	for _, c := range []struct{ beanC, want float64 }{{0, 1000}, {400, 500}, {800, 0}, {900, 0}} {
		in := held{ambientC: 25, airKgPerS: p.AirKgPerS, flowFactor: 1, stir: 1, dryKg: 0.2, fireW: 1000, beanProbeS: 30}
		x := vector{xBean: c.beanC, xMoisture: 0.1, xDry: 1}
		var dx vector
		p.derive(&in, &x, &dx)
		near(t, "fire W", dx[xReactionJ], c.want, 1e-9)
	}
}

package plant

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// settle lets a running machine go on for a while at one inlet set point.
func (r *running) settle(seconds, setC, radiantW float64) {
	for range int(math.Round(seconds / scanS)) {
		r.scan(setC, radiantW)
	}
}

func TestNewRefuses(t *testing.T) {
	for name, c := range map[string]struct {
		spoil func(*Params)
		want  string
	}{
		"no air":        {func(p *Params) { p.AirKgPerS = 0 }, "AirKgPerS"},
		"NaN mass":      {func(p *Params) { p.BatchKg = math.NaN() }, "BatchKg"},
		"infinite lag":  {func(p *Params) { p.BeanProbeS = math.Inf(1) }, "BeanProbeS"},
		"wet beans":     {func(p *Params) { p.MoistureWB = 0.6 }, "MoistureWB"},
		"no pulses":     {func(p *Params) { p.PulsesPerRev = 0 }, "PulsesPerRev"},
		"all outer":     {func(p *Params) { p.SkinOuterFrac = 1 }, "SkinOuterFrac"},
		"boiling room":  {func(p *Params) { p.AmbientC = 100 }, "AmbientC"},
		"two at once":   {func(p *Params) { p.SkinJPerK, p.PanelJPerK = -1, 0 }, "PanelJPerK"},
		"empty machine": {func(p *Params) { *p = Params{} }, "Quarter or Kilo"},
	} {
		p := Quarter()
		c.spoil(&p)
		if _, err := New(p, 1); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: got error %v, want one that names %s", name, err, c.want)
		}
	}
}

func TestColdMachineStaysCold(t *testing.T) {
	m := newMachine(t, Kilo())
	for range 6000 {
		m.Step(scanS)
	}
	tr := m.Truth()
	for what, c := range map[string]float64{
		"element": tr.ElementC, "inlet": tr.InletC, "exhaust": tr.ExhaustC, "skin": tr.SkinHotC, "panel": tr.PanelC,
	} {
		near(t, what, c, 25, 1e-9)
	}
	near(t, "bean probe", m.Readings().BeanProbe.C, 25, 1)
	near(t, "machine time", m.TimeS(), 600, 1e-6)
}

func TestSameSeedSameReadings(t *testing.T) {
	record := func(seed uint64, stepS float64) []Readings {
		m, err := New(Quarter(), seed)
		if err != nil {
			t.Fatal(err)
		}
		r := newRunning(m)
		var out []Readings
		for i := range 600 {
			if i == 300 {
				if err := m.Charge(0.25, 0.11); err != nil {
					t.Fatal(err)
				}
			}
			r.scan(220, 300)
			out = append(out, m.Readings())
		}
		return out
	}
	a := record(3, scanS)
	if !slices.Equal(a, record(3, scanS)) {
		t.Error("the same seed gave different readings")
	}
	if slices.Equal(a, record(4, scanS)) {
		t.Error("another seed gave the same noise")
	}
}

func TestBadStepsDoNothing(t *testing.T) {
	m := newMachine(t, Quarter())
	before := m.Readings()
	for _, dt := range []float64{0, -1, math.NaN(), math.Inf(1), math.Inf(-1)} {
		m.Step(dt)
	}
	if m.TimeS() != 0 || m.Readings() != before {
		t.Error("a step that is no time changed the machine")
	}
}

func TestBadCommandsAreHarmless(t *testing.T) {
	m := newMachine(t, Quarter())
	nan := math.NaN()
	for i := range 50 {
		m.SetCommands(Commands{
			DrumRun: true, DrumHz: nan, BlowerRun: true, BlowerHz: math.Inf(1), HeatEnable: true,
			AirHeaterDuty: nan, RadiantDuty: 7, Heartbeat: uint16(i),
		})
		m.Step(scanS)
	}
	tr, p := m.Truth(), m.Params()
	near(t, "drum", m.Readings().DrumDrive.OutputHz, 0, 0)
	near(t, "air heater", tr.AirHeaterW, 0, 0)
	near(t, "panels", tr.RadiantW, p.RadiantMaxW, 1e-9)
	if hz := m.Readings().BlowerDrive.OutputHz; !(hz > 0 && hz <= p.BlowerMaxHz) {
		t.Errorf("blower at %g Hz", hz)
	}
}

func TestHeatNeedsTheContactor(t *testing.T) {
	full := Commands{HeatEnable: true, AirHeaterDuty: 1, RadiantDuty: 1, BlowerRun: true, BlowerHz: 50, DrumRun: true, DrumHz: 57}
	for name, c := range map[string]struct {
		change func(*Commands)
		faults []string
		heats  bool
	}{
		"all well":              {func(*Commands) {}, nil, true},
		"not enabled":           {func(c *Commands) { c.HeatEnable = false }, nil, false},
		"relay stuck":           {func(c *Commands) { c.AirHeaterDuty, c.RadiantDuty = 0, 0 }, []string{"air_heater_stuck_on"}, true},
		"panel relay stuck":     {func(c *Commands) { c.AirHeaterDuty, c.RadiantDuty = 0, 0 }, []string{"radiant_stuck_on"}, true},
		"relay stuck, coil off": {func(c *Commands) { c.HeatEnable = false }, []string{"air_heater_stuck_on", "radiant_stuck_on"}, false},
		"welded, coil off":      {func(c *Commands) { c.HeatEnable = false }, []string{"contactor_welded"}, true},
		"emergency stop":        {func(*Commands) {}, []string{"estop_pressed"}, false},
		"limit open":            {func(*Commands) {}, []string{"high_limit_open"}, false},
		"elements broken":       {func(*Commands) {}, []string{"air_heater_broken", "radiant_broken"}, false},
		"cover is only told":    {func(*Commands) {}, []string{"cover_open"}, true},
	} {
		t.Run(name, func(t *testing.T) {
			m := newMachine(t, Quarter())
			for _, f := range c.faults {
				if err := m.Inject(f); err != nil {
					t.Fatal(err)
				}
			}
			cmd := full
			c.change(&cmd)
			for range 20 {
				cmd.Heartbeat++
				m.SetCommands(cmd)
				m.Step(scanS)
			}
			tr, rd := m.Truth(), m.Readings()
			if got := tr.AirHeaterW+tr.RadiantW > 0; got != c.heats {
				t.Errorf("heats: got %v, want %v (%+v)", got, c.heats, tr)
			}
			if got := rd.AirHeaterA+rd.RadiantA > 0; got != c.heats {
				t.Errorf("currents show heat: got %v, want %v", got, c.heats)
			}
		})
	}
}

func TestStillHeartbeatOpensTheContactor(t *testing.T) {
	m := newMachine(t, Quarter())
	r := newRunning(m)
	m.SetCommands(r.cmd)
	m.Step(scanS)
	if m.Truth().ContactorClosed {
		t.Fatal("contactor closed before the first beat")
	}
	r.settle(5, 150, 200)
	if !m.Truth().ContactorClosed {
		t.Fatal("contactor open with a live heartbeat")
	}
	openAfter := 0.0
	for m.Truth().ContactorClosed && openAfter < 10 {
		m.Step(scanS)
		openAfter += scanS
	}
	near(t, "opens after s", openAfter, m.Params().HeartbeatS, 0.11)
}

func TestHeaterPowerFollowsMainsSquared(t *testing.T) {
	// P = V²/R (Ohm and Joule): at 90 % of the voltage 81 % of the power.
	m := newMachine(t, Quarter().With(Mismatch{MainsFrac: -0.1}))
	m.SetCommands(Commands{HeatEnable: true, AirHeaterDuty: 1, Heartbeat: 1})
	m.Step(scanS)
	near(t, "power", m.Truth().AirHeaterW, 0.81*1500, 1e-9)
	near(t, "current", m.Readings().AirHeaterA, 0.81*1500/(0.9*230), 0.0051)
	if err := m.Inject("mains_low"); err != nil {
		t.Fatal(err)
	}
	m.Step(scanS)
	near(t, "sagged volts", m.Readings().MainsV, 0.8*0.9*230, 0.051)
	near(t, "sagged power", m.Truth().AirHeaterW, 0.64*0.81*1500, 1e-9)
	m.SetMainsV(-5)
	m.Step(scanS)
	if a := m.Readings().AirHeaterA; math.IsNaN(a) || math.IsInf(a, 0) {
		t.Errorf("current is %g without mains", a)
	}
}

func TestElementAndDuctTimeConstants(t *testing.T) {
	// Element time constant C/(G c eff), with exchange going as flow to the 0.6,
	// at about 200 °C; duct lag 2 s at nominal flow. Computed independently
	// (Python, double precision). After switching off, the log-slope of the
	// element gives the constant back.
	for _, c := range []struct {
		name              string
		p                 Params
		flow, wantElement float64
	}{
		{"250 g", Quarter(), 0.8, 16.6}, {"250 g", Quarter(), 1, 13.7}, {"250 g", Quarter(), 1.2, 11.8}, {"250 g", Quarter(), 1.4, 10.4},
		{"1 kg", Kilo(), 0.8, 20.7}, {"1 kg", Kilo(), 1, 17.1}, {"1 kg", Kilo(), 1.2, 14.6},
	} {
		m := newMachine(t, c.p)
		m.WarmStart(Warm{SkinC: 200, InletC: 250, ExhaustC: 200, Running: true})
		cmd := newRunning(m).cmd
		cmd.BlowerHz *= c.flow
		m.SetCommands(cmd)
		for range 60 {
			m.Step(scanS)
		}
		near(t, c.name+" flow", m.Truth().AirKgPerS, c.flow*c.p.AirKgPerS, 0.01*c.p.AirKgPerS)
		a := m.Truth().ElementC - 25
		for range 50 {
			m.Step(scanS)
		}
		b := m.Truth().ElementC - 25
		near(t, c.name+" element s", 5/math.Log(a/b), c.wantElement, 0.02*c.wantElement)
		near(t, c.name+" duct s", c.p.DuctJPerK/(c.p.AirKgPerS*1020), 2, 0.05)
	}
}

func TestProbeLags(t *testing.T) {
	// A first-order probe has closed all but 1/e of the gap after its lag.
	p := Quarter()
	p.NoiseC, p.StepC = 0, 0
	for _, c := range []struct {
		name  string
		state int
		lagS  float64
		read  func(*Readings) float64
	}{
		{"bean, bare", xBeanProbe, 45, func(r *Readings) float64 { return r.BeanProbe.C }},
		{"inlet", xInletProbe, 4, func(r *Readings) float64 { return r.InletProbe.C }},
		{"exhaust", xExhaustProbe, 25, func(r *Readings) float64 { return r.ExhaustProbe.C }},
		{"skin", xSkinProbe, 3, func(r *Readings) float64 { return r.SkinProbe.C }},
		{"element", xElementProbe, 3, func(r *Readings) float64 { return r.ElementProbe.C }},
		{"limit", xLimitProbe, 8, func(r *Readings) float64 { return r.LimitProbe.C }},
		{"tray", xTrayProbe, 10, func(r *Readings) float64 { return r.TrayProbe.C }},
	} {
		m := newMachine(t, p)
		m.x[c.state] = 125
		for m.TimeS() < c.lagS-1e-6 {
			m.Step(scanS)
		}
		rd := m.Readings()
		near(t, c.name, c.read(&rd), 25+100*math.Exp(-1), 0.01)
	}
}

func TestShorterStepsAgree(t *testing.T) {
	// A fourth of the step changes nothing that matters: the integrator and the
	// laws between its steps have converged.
	run := func(split int) Truth {
		r := charged(t, Quarter(), 178, 200, 400)
		r.cmd.AirHeaterDuty, r.cmd.RadiantDuty = 0.7, 0.7
		for range 3000 {
			r.cmd.Heartbeat++
			r.m.SetCommands(r.cmd)
			for range split {
				r.m.Step(scanS / float64(split))
			}
		}
		return r.m.Truth()
	}
	a, b := run(1), run(8)
	near(t, "bean", a.BeanC, b.BeanC, 0.005)
	near(t, "skin", a.SkinHotC, b.SkinHotC, 0.005)
	near(t, "element", a.ElementC, b.ElementC, 0.005)
	near(t, "loss", a.LossFrac, b.LossFrac, 1e-5)
}

func TestTurningCarriesHeatIntoTheBed(t *testing.T) {
	p := Quarter()
	p.SpeedExponent = 0.3
	n := p.nominalRPM()
	near(t, "usual speed", p.stirFactor(n), 1, 1e-12)
	near(t, "45 of 57 Hz", p.stirFactor(n*45/57), math.Pow(45.0/57, 0.3), 1e-12)
	near(t, "at rest", p.stirFactor(0), 0.4*math.Pow(0.2, 0.3), 1e-12)

	r := charged(t, Quarter(), 178, 200, 400)
	r.settle(200, 250, 400)
	before := r.m.Truth()
	inject(t, r.m, "drum_stall")
	r.settle(5, 250, 400)
	after := r.m.Truth()
	near(t, "skin to bed, per kelvin, stalled over turning",
		after.SkinBedW/(after.SkinC-after.BeanC)/(before.SkinBedW/(before.SkinC-before.BeanC)), 0.4, 0.01)
}

func TestProvingSwitchDoesNotChatter(t *testing.T) {
	m := newMachine(t, Quarter())
	closesAt := -1.0
	p := m.Params()
	for hz := 15.0; hz < 25; hz += 0.1 {
		m.SetCommands(Commands{BlowerRun: true, BlowerHz: hz})
		for range 60 {
			m.Step(scanS)
		}
		if m.Readings().AirProven && closesAt < 0 {
			closesAt = hz
		}
	}
	opensAt := -1.0
	for hz := 25.0; hz > 15; hz -= 0.1 {
		m.SetCommands(Commands{BlowerRun: true, BlowerHz: hz})
		for range 60 {
			m.Step(scanS)
		}
		if !m.Readings().AirProven && opensAt < 0 {
			opensAt = hz
		}
	}
	near(t, "closes, Hz", closesAt, p.ProvingFrac*p.BlowerNominalHz, 0.3)
	near(t, "opens, Hz", opensAt, 0.9*p.ProvingFrac*p.BlowerNominalHz, 0.3)
}

func TestMismatch(t *testing.T) {
	p := Quarter()
	if p.With(Mismatch{}) != p {
		t.Error("no mismatch changed the machine")
	}
	q := p.With(Mismatch{
		MassFrac: 0.2, HeatTransferFrac: -0.2, ExothermFrac: 1, DryingFrac: -0.2, DryLossFrac: 0.2, ProbeLagFrac: 0.4,
		GasShareAdd: 0.04, MoistureWBAdd: 0.02, MainsFrac: -0.1, AmbientAddK: -20, SkinHeatCapFrac: 0.15,
	})
	for what, c := range map[string][2]float64{
		"mass": {q.BatchKg, 0.3}, "heat transfer": {q.HeatTransfer, 0.8}, "exotherm": {q.Kinetics.ExothermFactor, 1},
		"drying": {q.Kinetics.DryingFactor, 1.44}, "dry loss": {q.Kinetics.DryLossFactor, 1.2}, "lag": {q.BeanProbeS, 42},
		"lag in air": {q.BeanProbeAirS, 63}, "gas share": {q.GasShare, 0.14}, "moisture": {q.MoistureWB, 0.13},
		"mains": {q.MainsV, 207}, "ambient": {q.AmbientC, 5}, "skin": {q.SkinJPerK, 862.5},
	} {
		near(t, what, c[0], c[1], 1e-9)
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	r := charged(t, Kilo(), 171, 203, 1000)
	if n := testing.AllocsPerRun(500, func() { r.scan(250, 800) }); n != 0 {
		t.Errorf("a scan makes %g allocations, want 0", n)
	}
}

func BenchmarkStep100ms(b *testing.B) {
	r := charged(b, Kilo(), 171, 203, 1000)
	r.scan(250, 800)
	b.ReportAllocs()
	for b.Loop() {
		r.m.Step(0.1)
	}
}

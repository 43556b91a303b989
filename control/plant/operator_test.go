package plant

import (
	"math"
	"testing"
)

func TestBeanProbeFeelsGasBeforeTheBedCoversIt(t *testing.T) {
	// Share of gas f + (1-f) exp(-t/3 s) after charge, and all gas again after
	// drop.
	r := charged(t, Kilo(), 171, 203, 1000)
	for _, s := range []float64{0.5, 3, 9, 30} {
		for r.m.TimeS() < s-1e-6 {
			r.scan(203, 1000)
		}
		near(t, "gas share", r.m.gasShare, 0.1+0.9*math.Exp(-r.m.TimeS()/3), 1e-6)
	}
	r.settle(300, 250, 1000)
	near(t, "lag in the bed", r.m.in.beanProbeS, 30, 0.01)
	r.m.Drop()
	r.settle(300, 200, 500)
	tr := r.m.Truth()
	near(t, "lag of a bare probe", r.m.in.beanProbeS, 45, 0.01)
	near(t, "bare probe reads gas", r.m.Readings().BeanProbe.C, tr.ExhaustC, 3)
	if tr.BeansKg != 0 || tr.BeanC != 0 {
		t.Errorf("beans left in a dropped drum: %+v", tr)
	}
}

func TestSmallBatchLeavesTheProbeInGas(t *testing.T) {
	for _, c := range []struct{ kg, want float64 }{{1, 0.10}, {0.7, 0.10}, {0.3, 0.55}} {
		m := newMachine(t, Kilo())
		if err := m.Charge(c.kg, 0.11); err != nil {
			t.Fatal(err)
		}
		for range 600 {
			m.Step(scanS)
		}
		near(t, "gas share", m.gasShare, c.want, 1e-6)
	}
}

func TestChargeDropTray(t *testing.T) {
	m := newMachine(t, Kilo())
	for name, bad := range map[string][2]float64{"nothing": {0, 0.11}, "too much": {3.1, 0.11}, "NaN": {math.NaN(), 0.11}, "percent": {1, 11}} {
		if err := m.Charge(bad[0], bad[1]); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if err := m.Charge(0.6, 0.11); err != nil {
		t.Fatal(err)
	}
	near(t, "in the drum", m.Truth().BeansKg, 0.6, 1e-12)
	// 0.6 kg at 680 g/l in 7.33 l.
	near(t, "bed", m.Truth().BedFrac, 0.6/0.68/7.33, 1e-9)
	m.Step(scanS)
	if !m.Readings().ChargeGateOpen {
		t.Error("gate contact closed just after charge")
	}
	// A second charge, of dry beans onto hot ones, mixes heat and water.
	m.x[xBean] = 100
	if err := m.Charge(0.6, 0.05); err != nil {
		t.Fatal(err)
	}
	tr := m.Truth()
	near(t, "both", tr.BeansKg, 1.2, 1e-6)
	near(t, "lost by mixing", tr.LossFrac, 0, 1e-6)
	near(t, "mixed water", tr.MoistureDB, (0.6*0.11+0.6*0.05)/(0.6*0.89+0.6*0.95), 1e-6)
	if !(tr.BeanC > 55 && tr.BeanC < 70) {
		t.Errorf("mixed beans at %.1f °C, want between, nearer the hot wet ones", tr.BeanC)
	}
	if err := m.Charge(2, 0.11); err == nil {
		t.Error("overfilled")
	}
	for range 40 {
		m.Step(scanS)
	}
	if m.Readings().ChargeGateOpen {
		t.Error("gate contact open long after charge")
	}
	m.Drop()
	m.Step(scanS)
	if !m.Readings().DischargeOpen || m.Truth().BeansKg != 0 {
		t.Error("drop did not open the door or empty the drum")
	}
	near(t, "in the tray", m.Truth().TrayKg, 1.2, 1e-3)
	near(t, "taken away", m.EmptyTray(), 1.2, 1e-3)
	near(t, "tray left", m.Truth().TrayKg, 0, 0)
}

func TestCoolingTray(t *testing.T) {
	// Roasted beans should be near hand-warm within about 4 min with fan and
	// stirrer (common practice, no source), and still hot without the fan.
	for _, c := range []struct {
		name         string
		fan, stirrer bool
		fault        string
		lo, hi       float64
		running      bool
	}{
		{"fan and stirrer", true, true, "", 25, 45, true},
		{"fan only", true, false, "", 45, 90, true},
		{"no fan", false, true, "", 150, 205, false},
		{"fan failed", true, true, "cooling_fan_failed", 150, 205, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			m := newMachine(t, Kilo())
			if err := m.Charge(1, 0.11); err != nil {
				t.Fatal(err)
			}
			m.x[xBean] = 205
			m.Drop()
			if c.fault != "" {
				if err := m.Inject(c.fault); err != nil {
					t.Fatal(err)
				}
			}
			m.SetCommands(Commands{CoolingFan: c.fan, Stirrer: c.stirrer})
			for range 2400 {
				m.Step(scanS)
			}
			if got := m.Truth().TrayC; got < c.lo || got > c.hi {
				t.Errorf("after 4 min %.0f °C, want %g to %g", got, c.lo, c.hi)
			}
			near(t, "tray probe", m.Readings().TrayProbe.C, m.Truth().TrayC, 3)
			if got := m.Readings().CoolingFanRunning; got != c.running {
				t.Errorf("fan feedback: got %v", got)
			}
		})
	}
}

func TestWarmStart(t *testing.T) {
	r := charged(t, Kilo(), 171, 203, 1000)
	r.settle(60, 250, 1000)
	r.m.Drop()
	r.m.EmptyTray()
	r.m.WarmStart(Warm{SkinC: 180, InletC: 220, RadiantW: 800, ExhaustC: 190, Running: true})
	if l := r.m.Ledger(); l != (Ledger{}) {
		t.Errorf("new books are not empty: %+v", l)
	}
	rd, tr, p := r.m.Readings(), r.m.Truth(), r.m.Params()
	near(t, "skin probe", rd.SkinProbe.C, 180, 1)
	near(t, "inlet probe", rd.InletProbe.C, 220, 1)
	near(t, "exhaust probe", rd.ExhaustProbe.C, 190, 1)
	near(t, "bare bean probe", rd.BeanProbe.C, 190, 1)
	near(t, "flow", tr.AirKgPerS, p.AirKgPerS, 1e-9)
	if !rd.AirProven || !tr.DrumTurning {
		t.Error("air not proven or drum not turning")
	}
	// It was said to be steady: the power that holds it keeps inlet and panels
	// where they are.
	inlet, panel := tr.InletC, tr.PanelC
	r.settle(20, 220, 800)
	near(t, "inlet later", r.m.Truth().InletC, inlet, 2)
	near(t, "panel later", r.m.Truth().PanelC, panel, 2)
}

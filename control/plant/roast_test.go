package plant

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

const scanS = 0.1

func newMachine(t testing.TB, p Params) *Machine {
	t.Helper()
	m, err := New(p, 1)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// running is a controller of two lines: it keeps the heartbeat, drum and air
// going and drives the inlet to a set point with knowledge of the truth.
type running struct {
	cmd Commands
	m   *Machine
}

func newRunning(m *Machine) *running {
	p := m.Params()
	return &running{m: m, cmd: Commands{
		DrumRun: true, DrumHz: p.DrumNominalHz, BlowerRun: true, BlowerHz: p.BlowerNominalHz, HeatEnable: true,
	}}
}

func (r *running) scan(setC, radiantW float64) {
	p, t := r.m.Params(), r.m.Truth()
	gc := t.AirKgPerS * 1030
	want := gc*(setC-p.AmbientC)/(1-p.DuctLossFrac) + 3*gc*(setC-t.InletC)
	r.cmd.AirHeaterDuty = want / p.AirHeaterMaxW
	r.cmd.RadiantDuty = radiantW / p.RadiantMaxW
	r.cmd.Heartbeat++
	r.m.SetCommands(r.cmd)
	r.m.Step(scanS)
}

// charged is a warm machine that has just been charged with its usual batch.
func charged(t testing.TB, p Params, skinC, inletC, radiantW float64) *running {
	t.Helper()
	m := newMachine(t, p)
	m.WarmStart(Warm{SkinC: skinC, InletC: inletC, RadiantW: radiantW, ExhaustC: 195, Running: true})
	if err := m.Charge(p.BatchKg, p.MoistureWB); err != nil {
		t.Fatal(err)
	}
	return newRunning(m)
}

func ramp(s float64, c [3]float64) float64 {
	switch {
	case s < 300:
		return c[0] + (c[1]-c[0])*s/300
	case s < 600:
		return c[1] + (c[2]-c[1])*(s-300)/300
	}
	return c[2]
}

// The full machine, with skin in parts, element, duct, noise and drives, must
// still roast as usual: turn 60-100 s, 150 °C at 4-5 min, 196 °C at 8-9.5 min,
// 207 °C at 10-12 min, 12-16 % lost (common practice, no source).
func TestUsualRoast(t *testing.T) {
	for _, c := range []struct {
		name     string
		p        Params
		set      [3]float64
		radiantW float64
		skinC    float64
	}{
		{"250 g", Quarter(), [3]float64{200, 315, 241}, 400, 178},
		{"1 kg", Kilo(), [3]float64{203, 307, 233}, 1000, 171},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := charged(t, c.p, c.skinC, c.set[0], c.radiantW)
			turnC := 1e9
			var turnS, at150, at196, dropS, lastX, lastS, lastHe float64
			lastX, lastS = 1, 1
			for dropS == 0 {
				s := r.m.TimeS()
				if s > 900 {
					t.Fatal("207 °C not reached in 900 s")
				}
				r.scan(ramp(s, c.set), c.radiantW)
				tr, probe := r.m.Truth(), r.m.Readings().BeanProbe.C
				switch {
				case probe < turnC:
					turnS, turnC = s, probe
				case s < 100: // still on the way up from the turn
				case at150 == 0 && probe >= 150:
					at150 = s
				case at196 == 0 && probe >= 196:
					at196 = s
				case probe >= 207:
					dropS = s
				}
				// Bounds that hold for any roast.
				if tr.MoistureDB > lastX || tr.MoistureDB < 0 || tr.DryFraction > lastS || tr.DryFraction < 0.86 ||
					tr.ReleasedKJPerKg < lastHe || tr.ReleasedKJPerKg > 232 {
					t.Fatalf("at %.1f s a bean state went the wrong way: %+v", s, tr)
				}
				if tr.BeanC > max(tr.InletC, tr.SkinHotC)+5 || tr.BeanC < 24.9 {
					t.Fatalf("at %.1f s beans at %.1f °C, inlet %.1f, skin %.1f", s, tr.BeanC, tr.InletC, tr.SkinHotC)
				}
				lastX, lastS, lastHe = tr.MoistureDB, tr.DryFraction, tr.ReleasedKJPerKg
			}
			t.Logf("turn %.0f s at %.1f °C, 150 °C %.0f s, 196 °C %.0f s, 207 °C %.0f s, loss %.2f %%",
				turnS, turnC, at150, at196, dropS, 100*r.m.Truth().LossFrac)
			if !r.m.Readings().LimitHealthy {
				t.Error("a usual roast opened the high limit")
			}
			near(t, "turn s", turnS, 80, 20)
			near(t, "150 °C s", at150, 270, 30)
			near(t, "196 °C s", at196, 525, 45)
			near(t, "207 °C s", dropS, 660, 60)
			near(t, "loss %", 100*r.m.Truth().LossFrac, 14, 2)
		})
	}
}

// A whole day in small: cold start, preheat, charge, roast, drop, cool, second
// charge onto a hot machine, tray emptied. In, out and stored heat must agree.
func TestEnergyBooksClose(t *testing.T) {
	for name, p := range map[string]Params{"250 g": Quarter(), "1 kg": Kilo()} {
		t.Run(name, func(t *testing.T) {
			m := newMachine(t, p)
			r := newRunning(m)
			check := func(when string) {
				t.Helper()
				l := m.Ledger()
				if e := math.Abs(l.ErrorJ()) / l.InJ(); e > 1e-3 {
					t.Errorf("%s: books out by %.4f %%: %+v", when, 100*e, l)
				} else {
					t.Logf("%s: in %.0f kJ, out %.0f, stored %.0f, out by %.2g of it", when, l.InJ()/1e3, l.OutJ()/1e3, l.StoredJ/1e3, e)
				}
			}
			run := func(seconds, setC, radiantFrac float64) {
				for range int(seconds / scanS) {
					r.scan(setC, radiantFrac*p.RadiantMaxW)
				}
			}
			run(1200, 220, 0.8)
			check("preheat")
			for range 2 {
				if err := m.Charge(p.BatchKg, p.MoistureWB); err != nil {
					t.Fatal(err)
				}
				check("charge")
				run(600, 270, 0.7)
				check("roast")
				m.Drop()
				check("drop")
			}
			r.cmd.CoolingFan, r.cmd.Stirrer = true, true
			run(300, 200, 0.3)
			check("cooling")
			kg := m.EmptyTray()
			check("tray emptied")
			if kg < 2*0.8*p.BatchKg || kg > 2*0.92*p.BatchKg {
				t.Errorf("tray held %.3f kg of two batches of %.3f kg", kg, p.BatchKg)
			}
			l := m.Ledger()
			for what, j := range map[string]float64{
				"electric": l.ElectricJ, "reaction": l.ReactionJ, "beans in": l.BeansInJ, "air out": l.AirOutJ, "room": l.RoomJ,
				"vapour": l.VapourJ, "off gas": l.OffGasJ, "tray air": l.TrayAirJ, "beans out": l.BeansOutJ,
			} {
				if !(j > 0) {
					t.Errorf("%s is %g J, a whole day must book some", what, j)
				}
			}
		})
	}
}

// Whatever commands, faults and operators do, the books close and nothing leaves
// the range of numbers that can be.
func TestBooksCloseUnderAbuse(t *testing.T) {
	all := Faults()
	rapid.Check(t, func(t *rapid.T) {
		p := Quarter()
		if rapid.Bool().Draw(t, "kilo") {
			p = Kilo()
		}
		m, err := New(p, 7)
		if err != nil {
			t.Fatal(err)
		}
		var beat uint16
		for range rapid.IntRange(1, 8).Draw(t, "acts") {
			switch rapid.IntRange(0, 4).Draw(t, "act") {
			case 0:
				if err := m.Inject(all[rapid.IntRange(0, len(all)-1).Draw(t, "fault")].Name); err != nil {
					t.Fatal(err)
				}
			case 1:
				if err := m.Clear(all[rapid.IntRange(0, len(all)-1).Draw(t, "fault")].Name); err != nil {
					t.Fatal(err)
				}
			case 2:
				_ = m.Charge(p.BatchKg*rapid.Float64Range(0.1, 1).Draw(t, "size"), 0.11) // a full drum refuses
			case 3:
				m.Drop()
			case 4:
				m.EmptyTray()
			}
			c := Commands{
				DrumRun: rapid.Bool().Draw(t, "drum"), DrumHz: rapid.Float64().Draw(t, "drumHz"),
				BlowerRun: rapid.Bool().Draw(t, "blower"), BlowerHz: rapid.Float64().Draw(t, "blowerHz"),
				AirHeaterDuty: rapid.Float64Range(-1, 2).Draw(t, "air"), RadiantDuty: rapid.Float64Range(-1, 2).Draw(t, "radiant"),
				HeatEnable: rapid.Bool().Draw(t, "enable"), CoolingFan: rapid.Bool().Draw(t, "fan"),
			}
			for range rapid.IntRange(1, 100).Draw(t, "scans") {
				beat++
				c.Heartbeat = beat
				m.SetCommands(c)
				m.Step(scanS)
			}
			l, tr := m.Ledger(), m.Truth()
			if e := math.Abs(l.ErrorJ()); !(e <= 1e-3*(math.Abs(l.InJ())+1000)) {
				t.Fatalf("books out by %g J: %+v", e, l)
			}
			if !(tr.AirHeaterW >= 0 && tr.AirHeaterW <= p.AirHeaterMaxW && tr.RadiantW >= 0 && tr.RadiantW <= p.RadiantMaxW) {
				t.Fatalf("heater powers out of range: %+v", tr)
			}
			if !tr.ContactorClosed && tr.AirHeaterW+tr.RadiantW != 0 {
				t.Fatalf("power without contactor: %+v", tr)
			}
			if tr.BeansKg > 0 && !(tr.BeanC > 20 && tr.BeanC < 900 && tr.MoistureDB >= 0 && tr.LossFrac >= 0 && tr.LossFrac < 0.3) {
				t.Fatalf("beans out of range: %+v", tr)
			}
		}
	})
}

package plant

import (
	"math"
	"testing"

	"drumwright/control/bean"
)

func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tol) {
		t.Errorf("%s: got %.7g, want %.7g within %g", what, got, want, tol)
	}
}

// plainModel is the roaster without this package's additions: one skin node, and
// an air heater that is a first-order lag behind its set point. It uses the same
// derive as the machine, with those two replaced, so the tables below test the
// balances that the machine runs on.
type plainModel struct {
	p       Params
	in      held
	x       vector
	setC    [3]float64 // inlet set point at 0, 300 and 600 s, straight between, then held
	maxW    float64
	heaterS float64
}

func newPlain(p Params, setC [3]float64, radiantW, heaterS, skinC float64) *plainModel {
	m := &plainModel{p: p, setC: setC, maxW: p.AirHeaterMaxW, heaterS: heaterS}
	db := bean.MoistureDryBasis(p.MoistureWB)
	m.in = held{
		ambientC: 25, airKgPerS: p.AirKgPerS, flowFactor: 1, stir: 1, radiantW: radiantW,
		dryKg: bean.DryMassKg(p.BatchKg, db), gasShare: p.GasShare, beanProbeS: p.BeanProbeS,
	}
	m.x = vector{xInlet: setC[0], xPatch: skinC, xOuter: skinC, xInner: skinC, xBean: 25, xMoisture: db, xDry: 1, xBeanProbe: 195, xExhaustProbe: 195}
	// Start of the panels as the reference run had it.
	k := 0.85*radiantW/(p.PanelRadM2*bean.StefanBoltzmannWPerM2K4) + math.Pow(skinC+bean.KelvinOffset, 4)
	m.x[xPanel] = math.Pow(k, 0.25) - bean.KelvinOffset
	return m
}

func (m *plainModel) derive(t float64, x, dx *vector) flows {
	f := m.p.derive(&m.in, x, dx)
	outer := m.p.SkinOuterFrac
	skin := outer*(m.p.SkinPatchFrac*dx[xPatch]+(1-m.p.SkinPatchFrac)*dx[xOuter]) + (1-outer)*dx[xInner]
	dx[xPatch], dx[xOuter], dx[xInner] = skin, skin, skin

	set := m.setC[2]
	switch {
	case t < 300:
		set = m.setC[0] + (m.setC[1]-m.setC[0])*t/300
	case t < 600:
		set = m.setC[1] + (m.setC[2]-m.setC[1])*(t-300)/300
	}
	gc := m.in.airKgPerS * bean.AirCpJPerKgK(x[xInlet])
	dx[xElement] = 0
	dx[xInlet] = (min(set, 25+m.maxW/gc) - x[xInlet]) / m.heaterS
	return f
}

func (m *plainModel) step(t, h float64) {
	var k [4]vector
	m.derive(t, &m.x, &k[0])
	for i, at := range [...]float64{0.5, 0.5, 1} {
		y := m.x
		for j := range y {
			y[j] += at * h * k[i][j]
		}
		m.derive(t+at*h, &y, &k[i+1])
	}
	for j := range m.x {
		m.x[j] += h / 6 * (k[0][j] + 2*k[1][j] + 2*k[2][j] + k[3][j])
	}
}

func plainQuarter(p Params) *plainModel {
	return newPlain(p, [3]float64{200, 315, 241}, 400, 12, 178)
}

func plainKilo(p Params) *plainModel {
	return newPlain(p, [3]float64{203, 307, 233}, 1000, 15, 171)
}

// All numbers here were computed independently (Python, double precision) from
// the stated balances.
func TestOneRightHandSide(t *testing.T) {
	m := plainKilo(Kilo())
	near(t, "panel at charge", m.x[xPanel], 553.6, 0.05)
	near(t, "panel at charge, 250 g", plainQuarter(Quarter()).x[xPanel], 554.7, 0.05)
	x := vector{
		xBean: 150, xMoisture: 0.110, xDry: 0.999, xReleased: 10, xPatch: 230, xOuter: 230, xInner: 230,
		xPanel: 450, xInlet: 290, xBeanProbe: 150, xExhaustProbe: 190,
	}
	var dx vector
	f := m.derive(250, &x, &dx)
	for _, c := range []struct {
		what      string
		got, want float64
	}{
		{"dT bean", dx[xBean], 0.299627},
		{"dX", dx[xMoisture], -1.85265e-04},
		{"dS", dx[xDry], -1.58255e-05},
		{"dHe, W/kg", 1000 * dx[xReleased], 125.947},
		{"dT skin", dx[xInner], 0.0507716},
		{"dT panel", dx[xPanel], 0.413281},
		{"dT inlet", dx[xInlet], -0.0222222},
		{"dT bean probe", dx[xBeanProbe], 0.153018},
		{"dT exhaust probe", dx[xExhaustProbe], 0.236219},
		{"gas to bed", f.gasBedW, 945.808},
		{"skin to bed", f.skinBedW, 120.8},
		{"exhaust", f.exhaustC, 195.905},
		{"panel to skin", f.radiantW, 415.547},
	} {
		near(t, c.what, c.got, c.want, 1e-5*math.Abs(c.want))
	}
}

// roastEvents is what a run of the plain model came to, by its bean probe.
type roastEvents struct {
	turnS, turnC, at150S, at196S, dropS float64
	loss196Pc, lossPc, dryLossPc, x     float64
}

// roast runs the plain model to 207 °C on the probe; visit sees every half
// second before it is stepped over.
func (m *plainModel) roast(t *testing.T, startDB float64, visit func(s float64)) roastEvents {
	t.Helper()
	const h = 0.5
	e := roastEvents{turnC: 1e9}
	loss := func() float64 { return 100 * bean.LossFraction(m.x[xDry], m.x[xMoisture], startDB) }
	for i := 0; e.dropS == 0; i++ {
		s := float64(i) * h
		if s > 1200 {
			t.Fatal("207 °C not reached in 1200 s")
		}
		visit(s)
		m.step(s, h)
		s += h
		probe := m.x[xBeanProbe]
		switch {
		case probe < e.turnC:
			e.turnS, e.turnC = s, probe
		case s < 100: // still on the way up from the turn
		case e.at150S == 0 && probe >= 150:
			e.at150S = s
		case e.at196S == 0 && probe >= 196:
			e.at196S, e.loss196Pc = s, loss()
		case probe >= 207:
			e.dropS = s
		}
	}
	e.lossPc, e.dryLossPc, e.x = loss(), 100*(1-m.x[xDry]), m.x[xMoisture]
	return e
}

// The two whole roasts, computed independently (Python, double precision). The
// parameters were fitted to usual event times, so this checks the equations and
// the integration, not the world.
func TestWholeRoasts(t *testing.T) {
	type row struct{ t, probe, bean, x, dryLossPc, lossPc, he, drum, in, out, gasW, skinW float64 }
	for _, c := range []struct {
		name string
		m    *plainModel
		want roastEvents
		rows []row
	}{
		{"250 g", plainQuarter(Quarter()), roastEvents{67, 80.9, 256, 536, 614, 10.1, 13.26, 4.72, 0.0229}, []row{
			{60, 81.4, 68.5, 0.1236, 0, 0, 0.2, 189, 218, 153, 209, 93},
			{180, 122.6, 127.8, 0.1214, 0.01, 0.20, 3.5, 211, 264, 202, 182, 64},
			{300, 161.5, 160.6, 0.1009, 0.18, 2.20, 17.4, 234, 310, 240, 194, 57},
			{420, 181.2, 178.9, 0.0648, 0.89, 6.07, 42.5, 252, 288, 239, 148, 57},
			{540, 196.6, 197.0, 0.0355, 2.66, 10.29, 76.7, 263, 259, 234, 92, 51},
			{600, 205.0, 206.8, 0.0250, 4.26, 12.67, 97.1, 266, 244, 232, 62, 46},
		}},
		{"1 kg", plainKilo(Kilo()), roastEvents{67, 78.0, 261, 532, 609, 10.6, 13.67, 5.05, 0.0216}, []row{
			{60, 78.5, 68.9, 0.1236, 0, 0, 0.2, 185, 219, 119, 1048, 175},
			{180, 120.7, 129.3, 0.1213, 0.01, 0.22, 3.6, 212, 260, 172, 893, 125},
			{300, 160.2, 162.6, 0.0990, 0.21, 2.39, 18.3, 238, 302, 208, 936, 114},
			{420, 180.7, 181.4, 0.0614, 1.01, 6.49, 44.8, 259, 281, 215, 703, 118},
			{540, 197.2, 199.4, 0.0326, 3.01, 10.86, 80.6, 272, 251, 219, 413, 110},
			{600, 205.8, 208.8, 0.0229, 4.75, 13.29, 101.6, 277, 237, 221, 263, 102},
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, next := c.m, 0
			got := m.roast(t, bean.MoistureDryBasis(0.11), func(s float64) {
				if next == len(c.rows) || s != c.rows[next].t {
					return
				}
				r := c.rows[next]
				next++
				f := m.derive(s, &m.x, new(vector))
				near(t, "probe", m.x[xBeanProbe], r.probe, 0.051)
				near(t, "bean", m.x[xBean], r.bean, 0.051)
				near(t, "moisture", m.x[xMoisture], r.x, 0.000051)
				near(t, "dry loss", 100*(1-m.x[xDry]), r.dryLossPc, 0.0051)
				near(t, "total loss", 100*bean.LossFraction(m.x[xDry], m.x[xMoisture], bean.MoistureDryBasis(0.11)), r.lossPc, 0.0051)
				near(t, "released", m.x[xReleased], r.he, 0.051)
				near(t, "drum", m.x[xInner], r.drum, 0.51)
				near(t, "inlet", m.x[xInlet], r.in, 0.51)
				near(t, "exhaust", f.exhaustC, r.out, 0.51)
				near(t, "gas to bed", f.gasBedW, r.gasW, 0.51)
				near(t, "skin to bed", f.skinBedW, r.skinW, 0.51)
			})
			if next != len(c.rows) {
				t.Fatalf("only %d of %d rows reached", next, len(c.rows))
			}
			got.compare(t, c.want)
			near(t, "loss at 196 °C", got.loss196Pc, c.want.loss196Pc, 0.06)
		})
	}
}

func (e roastEvents) compare(t *testing.T, want roastEvents) {
	t.Helper()
	near(t, "turn s", e.turnS, want.turnS, 1)
	near(t, "turn °C", e.turnC, want.turnC, 0.06)
	near(t, "150 °C s", e.at150S, want.at150S, 1)
	near(t, "196 °C s", e.at196S, want.at196S, 1)
	near(t, "drop s", e.dropS, want.dropS, 1)
	near(t, "loss at drop", e.lossPc, want.lossPc, 0.011)
	near(t, "dry loss at drop", e.dryLossPc, want.dryLossPc, 0.011)
	near(t, "moisture at drop", e.x, want.x, 6e-5)
}

// One change at a time, schedule as before; computed independently (Python,
// double precision). It also shows that each mismatch reaches the physics.
func TestSensitivities(t *testing.T) {
	for _, c := range []struct {
		name        string
		m           Mismatch
		more        func(*plainModel)
		quart, kilo roastEvents
	}{
		{"exotherm as published", Mismatch{ExothermFrac: 1}, nil,
			roastEvents{67, 80.9, 251, 486, 552, 0, 12.53, 4.19, 0.0258}, roastEvents{67, 78.0, 255, 482, 545, 0, 12.88, 4.46, 0.0246}},
		{"no exotherm", Mismatch{ExothermFrac: -1}, nil,
			roastEvents{67, 80.9, 262, 650, 762, 0, 14.93, 6.06, 0.0175}, roastEvents{67, 78.0, 268, 660, 781, 0, 15.68, 6.72, 0.0157}},
		{"drying as published", Mismatch{DryingFrac: 1/1.8 - 1}, nil,
			roastEvents{67, 80.9, 250, 494, 586, 0, 12.36, 4.87, 0.0352}, roastEvents{67, 78.0, 253, 492, 582, 0, 12.84, 5.23, 0.0333}},
		{"batch +10 %", Mismatch{MassFrac: 0.1}, nil,
			roastEvents{69, 78.7, 273, 590, 673, 0, 13.72, 5.07, 0.0212}, roastEvents{69, 75.7, 278, 587, 673, 0, 14.21, 5.48, 0.0198}},
		{"moisture 12 %", Mismatch{MoistureWBAdd: 0.01}, nil,
			roastEvents{68, 80.4, 262, 571, 650, 0, 14.45, 4.91, 0.0224}, roastEvents{68, 77.5, 268, 568, 649, 0, 14.92, 5.30, 0.0209}},
		{"probe lag 10 s", Mismatch{ProbeLagFrac: 1.0/3 - 1}, nil,
			roastEvents{32, 58.6, 234, 516, 594, 0, 12.42, 4.08, 0.0259}, roastEvents{32, 55.2, 238, 512, 589, 0, 12.83, 4.39, 0.0244}},
		{"air flow +10 %", Mismatch{}, func(m *plainModel) { m.in.airKgPerS *= 1.1; m.in.flowFactor = math.Pow(1.1, 0.6) },
			roastEvents{66, 82.2, 247, 508, 582, 0, 12.94, 4.48, 0.0241}, roastEvents{66, 79.8, 249, 497, 568, 0, 13.26, 4.74, 0.0231}},
	} {
		t.Run(c.name, func(t *testing.T) {
			for _, machine := range []struct {
				build func(Params) *plainModel
				p     Params
				want  roastEvents
			}{{plainQuarter, Quarter(), c.quart}, {plainKilo, Kilo(), c.kilo}} {
				p := machine.p.With(c.m)
				m := machine.build(p)
				if c.more != nil {
					c.more(m)
				}
				m.roast(t, bean.MoistureDryBasis(p.MoistureWB), func(float64) {}).compare(t, machine.want)
			}
		})
	}
}

func TestSensibleHeat(t *testing.T) {
	// Its slope in temperature must be the heat capacity, and the inverse must
	// undo it.
	for _, c := range []float64{-20, 25, 150, 240} {
		slope := (sensibleJPerKg(c+0.01, 0.1) - sensibleJPerKg(c-0.01, 0.1)) / 0.02
		near(t, "slope", slope, bean.DryHeatCapacityJPerKgK(c, 0.1), 1e-3)
		near(t, "inverse", temperatureOf(sensibleJPerKg(c, 0.1), 0.1), c, 1e-9)
	}
}

package plant

import (
	"fmt"

	"drumwright/control/bean"
)

// Charge is the operator opening the gate and letting green beans at room
// temperature into the drum: greenKg kilograms of moisture moistureWB, kg water
// per kg green. Beans already there are mixed with; only a drum that would be
// over 60 % full takes no more.
func (m *Machine) Charge(greenKg, moistureWB float64) error {
	roomKg := (0.6*m.p.DrumVolumeL - m.bedL()) * m.p.GreenGPerL / 1000
	if !(greenKg > 0 && greenKg <= roomKg) {
		return fmt.Errorf("plant charge: %g kg, must be above 0 and at most %.2f kg, which is all that goes in now; charge less", greenKg, roomKg)
	}
	if !(moistureWB >= 0 && moistureWB < 0.5) {
		return fmt.Errorf("plant charge: moisture is %g, must be from 0 to below 0.5; write 11 %% as 0.11", moistureWB)
	}
	db := bean.MoistureDryBasis(moistureWB)
	green := load{
		greenKg: greenKg, dryKg: bean.DryMassKg(greenKg, db), startDB: db,
		beanC: m.p.AmbientC, moistureDB: db, dry: 1,
	}
	m.beansInJ += green.sensibleJ()
	m.setDrum(join(m.drumLoad(), green))
	m.gateUntilS = m.timeS + m.p.GateOpenS
	return nil
}

// Drop is the operator opening the discharge door: all beans go to the cooling
// tray, onto what may still lie there. Dropping an empty drum only opens the
// door.
func (m *Machine) Drop() {
	m.setTray(join(m.trayLoad(), m.drumLoad()))
	m.emptyDrum()
	m.dischargeUntilS = m.timeS + m.p.DischargeOpenS
}

// EmptyTray is the operator taking the cooled beans away; it returns their
// mass, kg.
func (m *Machine) EmptyTray() float64 {
	l := m.trayLoad()
	m.beansOutJ += l.sensibleJ()
	m.setTray(load{beanC: m.p.AmbientC, dry: 1})
	return l.kg()
}

// Warm says how hot a machine is that has been running for a while.
type Warm struct {
	SkinC    float64 // all of the drum skin
	InletC   float64 // air entering, steady, at nominal flow
	RadiantW float64 // panel power held so far
	ExhaustC float64 // also felt by the bare bean probe
	Running  bool    // drum and blower already turning at nominal frequency
}

// WarmStart puts the machine where a preheat would have brought it and opens
// new books. Beans stay where they are.
func (m *Machine) WarmStart(w Warm) {
	p, x := &m.p, &m.x
	x[xPatch], x[xOuter], x[xInner], x[xSkinProbe] = w.SkinC, w.SkinC, w.SkinC, w.SkinC
	x[xPanel] = p.restPanelC(w.RadiantW, w.SkinC)
	x[xInlet], x[xInletProbe] = w.InletC, w.InletC
	eff := bean.Effectiveness(p.ElementWPerK, p.AirKgPerS*bean.AirCpJPerKgK(w.InletC))
	x[xElement] = p.AmbientC + (w.InletC-p.AmbientC)/(eff*(1-p.DuctLossFrac))
	x[xElementProbe] = x[xElement]
	x[xLimitProbe] = w.SkinC
	m.collectorC = p.AmbientC + collectorFrac*(w.ExhaustC-p.AmbientC)
	x[xExhaustProbe], x[xBeanProbe] = w.ExhaustC, w.ExhaustC
	if w.Running {
		m.drum.outputHz, m.blower.outputHz = p.DrumNominalHz, p.BlowerNominalHz
		m.drumRPM, m.flow, m.proven = p.nominalRPM(), p.AirKgPerS, true
	}
	for i := xElectricJ; i < nStates; i++ {
		x[i] = 0
	}
	m.beansInJ, m.beansOutJ = 0, 0
	m.storedAtStartJ = m.storedJ()
	m.hold()
	m.now = p.derive(&m.in, x, new(vector))
	m.read()
}

// restPanelC is where the panels settle at a power over a skin, by bisection:
// the heat they give rises with their temperature.
func (p *Params) restPanelC(radiantW, skinC float64) float64 {
	lo, hi := min(skinC, p.AmbientC), 2000.0
	for range 60 {
		mid := (lo + hi) / 2
		if p.PanelRadM2*bean.BlackExchangeWPerM2(mid, skinC)+p.PanelRoomWPerK*(mid-p.AmbientC) < radiantW {
			lo = mid
		} else {
			hi = mid
		}
	}
	return lo
}

func (m *Machine) drumLoad() load {
	l := m.bed
	l.beanC, l.moistureDB, l.dry, l.releasedKJPerKg = m.x[xBean], m.x[xMoisture], m.x[xDry], m.x[xReleased]
	return l
}

func (m *Machine) setDrum(l load) {
	m.bed = l
	m.x[xBean], m.x[xMoisture], m.x[xDry], m.x[xReleased] = l.beanC, l.moistureDB, l.dry, l.releasedKJPerKg
}

func (m *Machine) emptyDrum() { m.setDrum(load{beanC: m.p.AmbientC, dry: 1}) }

func (m *Machine) trayLoad() load {
	l := m.tray
	l.beanC = m.x[xTray]
	return l
}

func (m *Machine) setTray(l load) {
	m.tray = l
	m.x[xTray] = l.beanC
}

package plant

import "drumwright/control/bean"

// Truth is what is really so, for judges and tests, never for a controller.
type Truth struct {
	TimeS float64

	BeansKg         float64 // in the drum now; the bean figures mean nothing at 0
	BeanC           float64
	BeanKPerS       float64
	MoistureDB      float64
	DryFraction     float64
	ReleasedKJPerKg float64
	LossFrac        float64 // of the green mass in the drum
	BedFrac         float64 // share of the drum volume

	ElementC  float64
	InletC    float64
	ExhaustC  float64
	SkinC     float64 // touching gas and beans
	SkinHotC  float64 // hottest part of the skin
	PanelC    float64
	AirKgPerS float64

	DrumTurning bool
	DrumRPM     float64

	ContactorClosed bool
	AirHeaterW      float64 // really delivered
	RadiantW        float64 // really delivered
	GasBedW         float64
	SkinBedW        float64
	RadiantToSkinW  float64

	TrayKg       float64
	TrayC        float64
	TrayLossFrac float64
}

// turningRPM is where a drum counts as turning.
const turningRPM = 1

// Truth returns the true state after the last step.
func (m *Machine) Truth() Truth {
	x := &m.x
	t := Truth{
		TimeS:    m.timeS,
		ElementC: x[xElement], InletC: x[xInlet], ExhaustC: m.now.exhaustC,
		SkinC: x[xInner], SkinHotC: max(x[xPatch], x[xOuter], x[xInner]), PanelC: x[xPanel],
		AirKgPerS:   m.in.airKgPerS,
		DrumTurning: m.drumRPM > turningRPM, DrumRPM: m.drumRPM,
		ContactorClosed: m.contactor, AirHeaterW: m.in.airHeaterW, RadiantW: m.in.radiantW,
		GasBedW: m.now.gasBedW, SkinBedW: m.now.skinBedW, RadiantToSkinW: m.now.radiantW,
	}
	if l := m.drumLoad(); l.dryKg > 0 {
		t.BeansKg, t.BeanC, t.BeanKPerS = l.kg(), l.beanC, m.now.beanKPerS
		t.MoistureDB, t.DryFraction, t.ReleasedKJPerKg = l.moistureDB, l.dry, l.releasedKJPerKg
		t.LossFrac = bean.LossFraction(l.dry, l.moistureDB, l.startDB)
		t.BedFrac = m.bedL() / m.p.DrumVolumeL
	}
	if l := m.trayLoad(); l.dryKg > 0 {
		t.TrayKg, t.TrayC = l.kg(), l.beanC
		t.TrayLossFrac = bean.LossFraction(l.dry, l.moistureDB, l.startDB)
	}
	return t
}

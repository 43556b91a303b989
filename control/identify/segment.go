package identify

import (
	"math"

	"drumwright/control/bean"
	"drumwright/control/observe"
)

// Sample is one moment of a record. What is not known is NaN.
type Sample struct {
	AtS        float64
	AirW       float64 // power of the air heater
	RadiantW   float64 // power of the panels
	FlowKgPerS float64
	RoomC      float64
	InletC     float64
	SkinC      float64
	ExhaustC   float64
	BeanC      float64 // bean probe
}

// Segment is a stretch of a record without a gap, either a roast from charge to
// drop or an empty drum.
type Segment struct {
	Name     string
	Samples  []Sample
	GreenKg  float64 // 0 = the drum is empty
	Moisture float64 // of the green beans, wet basis
}

// Machine is what stays as the file has it.
type Machine struct {
	NominalFlowKgPerS                 float64
	ElementWPerK, DuctLagS, InletLagS float64
	PanelRadM2, PanelWPerK            float64 // emissivity times area; loss to the room
	Kinetics                          bean.Kinetics
}

// channel is a reading that is compared.
type channel int

const (
	inlet channel = iota
	skin
	exhaust
	probe
	numChannels
)

// leftK is how far a model as simple as this is off in each channel by its
// make, one standard deviation (judgement), and alikeS for how long it is off
// the same way: so many readings count as one.
var leftK = [numChannels]float64{inlet: 2, skin: 1.2, exhaust: 2, probe: 0.4}

const alikeS = 200.0

var channelName = [numChannels]string{"inlet air", "drum skin", "exhaust", "bean probe"}

const (
	longestStepS = 0.5
	// coldK above the room a drum has not been heated for long.
	coldK = 40.0
	// blindS after charge nothing is compared: the bed is closing over the probe.
	blindS = 20.0
	// exhaustLagS is the lag of a usual exhaust probe (common practice, no source).
	exhaustLagS = 25.0
	// sparseS between samples is too long to tell what the inlet air does.
	sparseS = 3.0
)

// run lets the model go through a segment and calls see for each sample with
// what it says of each channel. panelK is added to the panel's temperature at
// the start.
func (s *Segment) run(m *Machine, v *Figures, panelK float64, see func(i int, c [numChannels]float64)) {
	first := &s.Samples[0]
	bed := observe.Params{HAGbWPerK: v[GasToBeans], HADbWPerK: v[DrumToBeans], HAGdWPerK: v[GasToDrum], G0KgPerS: m.NominalFlowKgPerS}
	room := first.RoomC
	// Air heater: at rest at the first reading.
	gc0 := first.FlowKgPerS * bean.AirCpJPerKgK((first.InletC+room)/2)
	elementC := room + (first.InletC-room)/(v[Efficiency]*m.airShare(first.FlowKgPerS, gc0))
	ductC, inletC := first.InletC, first.InletC
	// Drum and panel: the panel where the first power holds it, or cold as the drum.
	drumC := first.SkinC
	panelC := drumC + panelK
	if drumC-room > coldK {
		panelC = restPanelC(m, first.RadiantW, drumC, room) + panelK
	}
	// Beans.
	moisture0 := bean.MoistureDryBasis(s.Moisture)
	dryKg0, dry, moisture, reacted, beanC := 0.0, 1.0, moisture0, 0.0, room
	if s.GreenKg > 0 {
		dryKg0 = bean.DryMassKg(s.GreenKg, moisture0)
	}
	probeC, exhaustC := first.BeanC, first.ExhaustC
	blind := true
	for i := range s.Samples {
		a := &s.Samples[i]
		if blind && a.AtS-first.AtS >= blindS && !math.IsNaN(a.BeanC) {
			probeC, blind = a.BeanC, false // what it saw while the beans went in is no part of the model
		}
		see(i, [numChannels]float64{inletC, drumC, exhaustC, probeC})
		if i+1 == len(s.Samples) {
			return
		}
		next := &s.Samples[i+1]
		span := next.AtS - a.AtS
		n := math.Ceil(span / longestStepS)
		h := span / n
		slope := (next.InletC - a.InletC) / span
		for k := range int(n) {
			// What meets the drum is the reading with its lag taken off.
			way := (float64(k) + 0.5) / n
			gasC := a.InletC + way*(next.InletC-a.InletC) + m.InletLagS*slope
			wallC := a.SkinC + way*(next.SkinC-a.SkinC)

			gc := a.FlowKgPerS * bean.AirCpJPerKgK((ductC+room)/2)
			rise := m.airShare(a.FlowKgPerS, gc) * (elementC - room)
			elementC += h * (a.AirW - gc*rise) / v[ElementHeat]
			ductC += lag(h, m.DuctLagS*m.NominalFlowKgPerS/a.FlowKgPerS) * (room + v[Efficiency]*rise - ductC)
			inletC += lag(h, m.InletLagS) * (ductC - inletC)

			gas := observe.AirOf(&bed, gasC, wallC, a.FlowKgPerS)
			outC := gas.AfterDrumC
			fromDrum := 0.0
			if dryKg0 > 0 {
				share := gas.BedShare(1)
				fromGas := gas.WPerK * share * (gas.AfterDrumC - beanC)
				outC -= share * (gas.AfterDrumC - beanC)
				fromWall := v[DrumToBeans] * (wallC - beanC)
				fromDrum = v[DrumToBeans] * (drumC - beanC)
				dX, dS, q := m.Kinetics.DryingRatePerS(moisture, beanC), m.Kinetics.DryLossRatePerS(dry, beanC), m.Kinetics.ExothermKWPerKg(reacted, beanC)
				kg := dryKg0 * dry
				heat := fromGas + fromWall + 1000*kg*(q+bean.VaporisationKJPerKg*dX)
				beanC += h * heat / (kg * bean.DryHeatCapacityJPerKgK(beanC, moisture))
				moisture += h * dX
				dry += h * dS
				reacted += h * q
				probeC += lag(h, v[ProbeLag]) * ((1-v[GasShare])*beanC + v[GasShare]*outC - probeC)
			}
			exhaustC += lag(h, exhaustLagS) * (outC - exhaustC)

			radiated := m.PanelRadM2 * bean.BlackExchangeWPerM2(panelC, drumC)
			panelC += h * (a.RadiantW - radiated - m.PanelWPerK*(panelC-room)) / v[PanelHeat]
			own := observe.AirOf(&bed, gasC, drumC, a.FlowKgPerS)
			drumC += h * (radiated - v[DrumLoss]*(drumC-room) + own.WPerK*own.DrumShare*(gasC-drumC) - fromDrum) / v[DrumHeat]
		}
		if !math.IsNaN(next.RoomC) {
			room = next.RoomC
		}
	}
}

func lag(h, tauS float64) float64 {
	if tauS <= 0 {
		return 1
	}
	return -math.Expm1(-h / tauS)
}

// airShare is the part of the element's excess that the air takes on.
func (m *Machine) airShare(flow, gc float64) float64 {
	return bean.Effectiveness(m.ElementWPerK*math.Pow(flow/m.NominalFlowKgPerS, 0.6), gc)
}

// restPanelC is where a power holds the panel over a drum, by bisection.
func restPanelC(m *Machine, powerW, drumC, roomC float64) float64 {
	low, high := roomC, 1500.0
	for range 50 {
		mid := (low + high) / 2
		if m.PanelRadM2*bean.BlackExchangeWPerM2(mid, drumC)+m.PanelWPerK*(mid-roomC) < powerW {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

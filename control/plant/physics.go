package plant

import (
	"math"

	"drumwright/control/bean"
)

// held is what stays constant over one inner step: drives, powers and contacts
// move on their own, simpler laws between the steps.
type held struct {
	ambientC   float64
	airKgPerS  float64
	flowFactor float64 // (flow/nominal)^0.6
	stir       float64 // multiplies both bed conductances
	mixWPerK   float64 // patch to rest of the outer skin, by turning

	airHeaterW float64
	radiantW   float64

	dryKg      float64 // dry matter charged; 0 is an empty drum
	fireW      float64 // of burning beans, before they burn out
	gasShare   float64
	beanProbeS float64

	trayDryKg, trayDB float64 // dry matter now; 0 is an empty tray
	trayWPerK         float64
	smoulderW         float64 // of beans in the tray, before they burn out
}

// flows are the heat flows of one instant, W, and the gas temperatures they
// lead to, °C.
type flows struct {
	gasSkinW, gasBedW, skinBedW, radiantW float64
	exhaustC                              float64
	beanKPerS                             float64
}

// derive fills dx with the time derivative of x. The balances are those of a
// lumped drum roaster (Schwartzberg 2002 form, as quoted in Vosloo 2017; the
// original was not seen) with the skin in parts, an element with mass and a duct
// with mass and loss added. The gas takes one specific heat, at the inlet
// temperature, over its whole path, so its heat is neither made nor lost.
func (p *Params) derive(in *held, x, dx *vector) flows {
	gc := in.airKgPerS * bean.AirCpJPerKgK(x[xInlet])
	amb := in.ambientC

	// Element, duct.
	toAir := gc * bean.Effectiveness(p.ElementWPerK*in.flowFactor, gc) * (x[xElement] - amb)
	casing := p.ElementRadM2 * bean.BlackExchangeWPerM2(x[xElement], amb)
	dx[xElement] = (in.airHeaterW - toAir - casing) / p.ElementJPerK
	ductLoss := p.DuctLossFrac * toAir
	dx[xInlet] = (toAir - ductLoss - gc*(x[xInlet]-amb)) / p.DuctJPerK

	// Gas past the skin, then through the bed.
	var f flows
	f.gasSkinW = gc * bean.Effectiveness(p.GasSkinWPerK, gc) * (x[xInlet] - x[xInner])
	f.exhaustC = x[xInlet] - f.gasSkinW/gc
	var vapour, offGas, reaction float64
	if in.dryKg > 0 {
		k := p.HeatTransfer * in.stir
		f.gasBedW = gc * bean.Effectiveness(k*p.GasBedWPerK*in.flowFactor, gc) * (f.exhaustC - x[xBean])
		f.exhaustC -= f.gasBedW / gc
		f.skinBedW = k * p.SkinBedWPerK * (x[xInner] - x[xBean])

		t, moist := x[xBean], x[xMoisture]
		dry := in.dryKg * x[xDry]
		dx[xMoisture] = p.Kinetics.DryingRatePerS(moist, t)
		dx[xDry] = p.Kinetics.DryLossRatePerS(x[xDry], t)
		dx[xReleased] = p.Kinetics.ExothermKWPerKg(x[xReleased], t)
		// A fire fades towards 800 °C: there must be an end (common practice, no source).
		reaction = dry*1000*dx[xReleased] + in.fireW*max(0, 1-t/800)
		vapour = -dry * 1000 * bean.VaporisationKJPerKg * dx[xMoisture]
		capacity := dry * bean.DryHeatCapacityJPerKgK(t, moist)
		f.beanKPerS = (f.gasBedW + f.skinBedW + reaction - vapour) / capacity
		// What leaves the beans takes the heat it held with it.
		perWater := sensibleJPerKg(t, 1) - sensibleJPerKg(t, 0)
		offGas = -in.dryKg*dx[xDry]*sensibleJPerKg(t, moist) - dry*dx[xMoisture]*perWater
	} else {
		dx[xMoisture], dx[xDry], dx[xReleased] = 0, 0, 0
	}
	dx[xBean] = f.beanKPerS

	// Skin and panels.
	f.radiantW = p.PanelRadM2 * bean.BlackExchangeWPerM2(x[xPanel], x[xPatch])
	outer := p.SkinJPerK * p.SkinOuterFrac
	share := p.SkinPatchFrac
	mixed := in.mixWPerK * (x[xOuter] - x[xPatch])
	patchIn := share * p.SkinLinkWPerK * (x[xPatch] - x[xInner])
	outerIn := (1 - share) * p.SkinLinkWPerK * (x[xOuter] - x[xInner])
	patchRoom := share * p.SkinRoomWPerK * (x[xPatch] - amb)
	outerRoom := (1 - share) * p.SkinRoomWPerK * (x[xOuter] - amb)
	panelRoom := p.PanelRoomWPerK * (x[xPanel] - amb)
	dx[xPatch] = (f.radiantW + mixed - patchIn - patchRoom) / (outer * share)
	dx[xOuter] = (-mixed - outerIn - outerRoom) / (outer * (1 - share))
	dx[xInner] = (f.gasSkinW + patchIn + outerIn - f.skinBedW) / (p.SkinJPerK - outer)
	dx[xPanel] = (in.radiantW - f.radiantW - panelRoom) / p.PanelJPerK

	// Tray: reactions are taken to stop there, unless the beans smoulder.
	var trayAir, smoulder float64
	trayC := amb
	dx[xTray] = 0
	if in.trayDryKg > 0 {
		trayC = x[xTray]
		trayAir = in.trayWPerK * (x[xTray] - amb)
		smoulder = in.smoulderW * max(0, 1-x[xTray]/800)
		dx[xTray] = (smoulder - trayAir) / (in.trayDryKg * bean.DryHeatCapacityJPerKgK(x[xTray], in.trayDB))
	}

	// Probes.
	seen := in.gasShare*f.exhaustC + (1-in.gasShare)*x[xBean]
	if in.dryKg == 0 {
		seen = f.exhaustC
	}
	dx[xBeanProbe] = (seen - x[xBeanProbe]) / in.beanProbeS
	dx[xInletProbe] = (x[xInlet] - x[xInletProbe]) / p.InletProbeS
	dx[xExhaustProbe] = (f.exhaustC - x[xExhaustProbe]) / p.ExhaustProbeS
	dx[xSkinProbe] = (x[xOuter] - x[xSkinProbe]) / p.SkinProbeS
	dx[xElementProbe] = (x[xElement] - x[xElementProbe]) / p.ElementProbeS
	dx[xLimitProbe] = (x[xPatch] - x[xLimitProbe]) / p.LimitProbeS // over the panels, where a standing drum burns
	dx[xTrayProbe] = (trayC - x[xTrayProbe]) / p.TrayProbeS

	dx[xElectricJ] = in.airHeaterW + in.radiantW
	dx[xReactionJ] = reaction + smoulder
	dx[xAirOutJ] = gc * (f.exhaustC - amb)
	dx[xRoomJ] = casing + ductLoss + patchRoom + outerRoom + panelRoom
	dx[xVapourJ] = vapour
	dx[xOffGasJ] = offGas
	dx[xTrayAirJ] = trayAir
	return f
}

// advance moves x by h seconds with the classical fourth-order Runge-Kutta rule.
func (p *Params) advance(in *held, x *vector, h float64) {
	var k1, k2, k3, k4, y vector
	p.derive(in, x, &k1)
	for i := range y {
		y[i] = x[i] + h/2*k1[i]
	}
	p.derive(in, &y, &k2)
	for i := range y {
		y[i] = x[i] + h/2*k2[i]
	}
	p.derive(in, &y, &k3)
	for i := range y {
		y[i] = x[i] + h*k3[i]
	}
	p.derive(in, &y, &k4)
	for i := range x {
		x[i] += h / 6 * (k1[i] + 2*k2[i] + 2*k3[i] + k4[i])
	}
}

// stirFactor is what the turning does for the heat exchange of the bed. Below a
// fifth of the usual speed it fades to that of a bed at rest; 0.4 for a bed at
// rest is a guess (common practice, no source).
func (p *Params) stirFactor(drumRPM float64) float64 {
	const still, knee = 0.4, 0.2
	r := drumRPM / p.nominalRPM()
	turning := min(r/knee, 1)
	return (still + (1-still)*turning) * math.Pow(max(r, knee), p.SpeedExponent)
}

// mixing is how strongly turning evens out the outer skin: the patch over the
// panels is replaced some four times a turn.
func (p *Params) mixing(drumRPM float64) float64 {
	return 4 * drumRPM / 60 * p.SkinJPerK * p.SkinOuterFrac * p.SkinPatchFrac
}

func (p *Params) nominalRPM() float64 {
	return p.DrumNominalHz * p.DrumRPMPerHz * (1 - p.DrumSlipFrac)
}

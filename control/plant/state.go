package plant

import "drumwright/control/bean"

// The integrated state: temperatures, °C, then the bean states, then what the
// probes feel, then heat booked so far, J. The heat integrals ride along in the
// same integrator, so that the energy balance has its accuracy.
const (
	xElement  = iota // air heater element
	xInlet           // air entering the drum
	xPatch           // outer skin over the panels
	xOuter           // rest of the outer skin
	xInner           // skin that gas and beans touch
	xPanel           // radiant panels
	xBean            // bean temperature
	xMoisture        // kg water per kg dry
	xDry             // dry mass over dry mass at charge
	xReleased        // reaction heat released, kJ per kg dry
	xTray            // beans in the cooling tray

	xBeanProbe
	xInletProbe
	xExhaustProbe
	xSkinProbe
	xElementProbe
	xLimitProbe
	xTrayProbe

	xElectricJ // drawn by both heaters
	xReactionJ // released by the beans
	xAirOutJ   // carried out by the roasting air, above intake
	xRoomJ     // lost by skin, panels, duct and element to the room
	xVapourJ   // taken by evaporation
	xOffGasJ   // sensible heat of the matter that left the beans
	xTrayAirJ  // carried off by the cooling air

	nStates
)

type vector [nStates]float64

// sensibleJPerKg is the heat in beans and their water above 0 °C, J per kg dry.
// The heat capacity is linear in temperature, so its value half way up is its
// exact mean.
func sensibleJPerKg(beanC, moistureDB float64) float64 {
	return beanC * bean.DryHeatCapacityJPerKgK(beanC/2, moistureDB)
}

// temperatureOf inverts sensibleJPerKg by Newton's method, which converges from
// any start above -100 °C because the heat capacity rises with temperature.
func temperatureOf(sensible, moistureDB float64) float64 {
	t := 100.0
	for range 30 {
		t -= (sensibleJPerKg(t, moistureDB) - sensible) / bean.DryHeatCapacityJPerKgK(t, moistureDB)
	}
	return t
}

// load is a heap of beans, in the drum or in the tray: what was charged, and
// what its beans have become.
type load struct {
	greenKg float64
	dryKg   float64 // dry matter at charge; 0 means no beans
	startDB float64 // moisture at charge

	beanC, moistureDB, dry, releasedKJPerKg float64
}

func (l *load) sensibleJ() float64 {
	return l.dryKg * l.dry * sensibleJPerKg(l.beanC, l.moistureDB)
}

// kg is the mass now.
func (l *load) kg() float64 { return l.dryKg * l.dry * (1 + l.moistureDB) }

// join pours b into a: matter, water, released heat and sensible heat all add.
func join(a, b load) load {
	switch {
	case a.dryKg == 0:
		return b
	case b.dryKg == 0:
		return a
	}
	start := a.dryKg + b.dryKg
	now := a.dryKg*a.dry + b.dryKg*b.dry
	mix := func(x, y float64) float64 { return (a.dryKg*a.dry*x + b.dryKg*b.dry*y) / now }
	l := load{
		greenKg:         a.greenKg + b.greenKg,
		dryKg:           start,
		startDB:         (a.dryKg*a.startDB + b.dryKg*b.startDB) / start,
		dry:             now / start,
		moistureDB:      mix(a.moistureDB, b.moistureDB),
		releasedKJPerKg: mix(a.releasedKJPerKg, b.releasedKJPerKg),
	}
	l.beanC = temperatureOf((a.sensibleJ()+b.sensibleJ())/now, l.moistureDB)
	return l
}

package plant

// Ledger is where all heat went since the machine was made, J. Heat in beans
// and metal counts above 0 °C, heat in air above the intake.
type Ledger struct {
	ElectricJ float64 // into both heaters
	ReactionJ float64 // released by the beans
	BeansInJ  float64 // came with the green beans

	AirOutJ   float64 // left with the roasting air
	RoomJ     float64 // lost to the room
	VapourJ   float64 // left as evaporation heat
	OffGasJ   float64 // left with water and dry matter, their sensible heat
	TrayAirJ  float64 // left with the cooling air
	BeansOutJ float64 // left with the beans taken from the tray

	StoredJ float64 // gained by element, duct, skin, panels and all beans
}

// InJ is all heat that came in.
func (l Ledger) InJ() float64 { return l.ElectricJ + l.ReactionJ + l.BeansInJ }

// OutJ is all heat that left.
func (l Ledger) OutJ() float64 {
	return l.AirOutJ + l.RoomJ + l.VapourJ + l.OffGasJ + l.TrayAirJ + l.BeansOutJ
}

// ErrorJ is what the books are out by: 0 for a perfect integration.
func (l Ledger) ErrorJ() float64 { return l.InJ() - l.OutJ() - l.StoredJ }

// Ledger returns the books as they stand.
func (m *Machine) Ledger() Ledger {
	return Ledger{
		ElectricJ: m.x[xElectricJ], ReactionJ: m.x[xReactionJ], BeansInJ: m.beansInJ,
		AirOutJ: m.x[xAirOutJ], RoomJ: m.x[xRoomJ], VapourJ: m.x[xVapourJ], OffGasJ: m.x[xOffGasJ],
		TrayAirJ: m.x[xTrayAirJ], BeansOutJ: m.beansOutJ,
		StoredJ: m.storedJ() - m.storedAtStartJ,
	}
}

// storedJ is the heat above 0 °C in everything that has mass.
func (m *Machine) storedJ() float64 {
	p, x := &m.p, &m.x
	outer := p.SkinJPerK * p.SkinOuterFrac
	drum, tray := m.drumLoad(), m.trayLoad()
	return p.ElementJPerK*x[xElement] + p.DuctJPerK*x[xInlet] + p.PanelJPerK*x[xPanel] +
		outer*p.SkinPatchFrac*x[xPatch] + outer*(1-p.SkinPatchFrac)*x[xOuter] +
		(p.SkinJPerK-outer)*x[xInner] + drum.sensibleJ() + tray.sensibleJ()
}

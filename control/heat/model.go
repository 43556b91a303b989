package heat

// AirShare is the share of the element's excess temperature that the air takes
// on at a flow in kg/s whose heat capacity flow is gcWPerK, as the loop takes it.
func (p AirLoopParams) AirShare(flowKgPerS, gcWPerK float64) float64 {
	p = p.filled()
	return p.effectiveness(flowKgPerS, gcWPerK)
}

// DuctS is the lag of the duct at a flow in kg/s, s, as the loop takes it.
func (p AirLoopParams) DuctS(flowKgPerS float64) float64 { return p.ductS(flowKgPerS) }

// ReachShare is the share of the heat that reaches the inlet probe.
func (p AirLoopParams) ReachShare() float64 { return p.filled().Efficiency }

// RadiationWPerK4 is emissivity × area × Stefan and Boltzmann's constant of
// panel and drum, W/K⁴.
func (p BaseLoopParams) RadiationWPerK4() float64 { return p.radiationWPerK4() }

package plant

// What a misled probe feels.
const (
	shiftK     = 30.0 // of the cold junction
	spikeK     = 30.0 // of one noisy sample
	spikeFrac  = 0.2  // of the samples
	looseFrac  = 0.05 // of the skin's heat that a sensor beside it feels
	humPerS    = 10.0 // pulses by mains hum
	cabinetOfK = 10.0 // that a cabinet is warmer than the room
)

func (m *Machine) beanFeltC() float64 {
	c := m.x[xBeanProbe] + m.beanDriftK()
	if m.has(beanExhaustSwapped) {
		c = m.x[xExhaustProbe]
	}
	if m.has(beanProbeNoise) && m.extra.Float64() < spikeFrac {
		c += spikeK
	}
	return c
}

func (m *Machine) exhaustFeltC() float64 {
	if m.has(beanExhaustSwapped) {
		return m.x[xBeanProbe] + m.beanDriftK()
	}
	return m.x[xExhaustProbe]
}

func (m *Machine) inletFeltC() float64 {
	c := m.x[xInletProbe]
	if m.has(inletScaledF) {
		return c*9/5 + 32
	}
	return c
}

func (m *Machine) skinFeltC() float64 {
	c, amb := m.x[xSkinProbe], m.p.AmbientC
	switch {
	case m.has(skinReversed):
		return amb - (c - amb)
	case m.has(skinProbeLoose):
		return amb + looseFrac*(c-amb)
	}
	return c
}

// further reads what hangs on a second module. Its noise is drawn from a source
// of its own, so that the noise of the first stays what it is without it.
func (m *Machine) further() {
	r := &m.readings
	read := func(p *ProbeReading, c float64) {
		*p = ProbeReading{C: quantise(c+m.p.NoiseC*m.extra.NormFloat64(), m.p.StepC)}
	}
	read(&r.Bean2Probe, m.x[xBeanProbe])
	read(&r.CollectorProbe, m.collectorC)
	read(&r.CabinetProbe, m.cabinetC)
	r.CarbonMonoxideAlarm = m.has(coAlarm)
}

// A collector behind a duct has the exhaust's heat less what the duct loses
// (common practice, no source).
const (
	collectorFrac = 0.4
	collectorS    = 60.0
	cabinetS      = 900.0
	chaffOutC     = 700.0 // at which burning chaff has burnt out
)

// moveRooms moves the temperatures that nothing else depends on.
func (m *Machine) moveRooms(h float64) {
	amb := m.p.AmbientC
	goal := amb + collectorFrac*(m.x[xExhaustProbe]-amb)
	switch {
	case !m.has(collectorFire):
		m.collectorC = lag(m.collectorC, goal, collectorS, h)
	case m.collectorC < chaffOutC:
		rate := 5.0
		if m.flow < 0.1*m.p.AirKgPerS {
			rate = 0.5
		}
		m.collectorC += rate * h
	}
	if m.has(cabinetHot) {
		m.cabinetC += 0.1 * h
	} else {
		m.cabinetC = lag(m.cabinetC, amb+cabinetOfK, cabinetS, h)
	}
}

// duty is what a heater's output gives: its command, or what it was when the
// output froze.
func (m *Machine) duty(id faultID, commanded float64, kept *float64) float64 {
	if !m.has(id) {
		*kept = commanded
	}
	return *kept
}

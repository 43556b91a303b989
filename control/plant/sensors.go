package plant

import "math"

// read refreshes the readings from the state. Noise is drawn for every probe at
// every step whether it is used or not, so that a fault does not shift the
// noise of the other probes.
func (m *Machine) read() {
	r, x := &m.readings, &m.x
	m.probe(&r.BeanProbe, m.beanFeltC(), m.beanProbeStatus())
	m.probe(&r.InletProbe, m.inletFeltC(), m.status(inletProbeOpen, inletScaledF))
	m.probe(&r.ExhaustProbe, m.exhaustFeltC(), m.status(exhaustProbeOpen, beanExhaustSwapped))
	m.probe(&r.SkinProbe, m.skinFeltC(), m.status(skinProbeOpen, skinReversed, skinProbeLoose))
	m.probe(&r.ElementProbe, x[xElementProbe], ProbeGood)
	m.probe(&r.LimitProbe, x[xLimitProbe], ProbeGood)
	m.probe(&r.TrayProbe, x[xTrayProbe], ProbeGood)
	m.probe(&r.AmbientProbe, m.p.AmbientC, ProbeGood)
	m.further()

	r.DrumDrive = m.drum.reading()
	r.DrumDrive.CurrentA = quantise(m.drumA(), 0.01)
	r.BlowerDrive = m.blower.reading()
	r.DrumPulses = m.pulses
	r.DrumRPM = 0
	if !m.has(drumPulsesLost) {
		r.DrumRPM = quantise(m.drumRPM, 0.1)
	}

	noise := m.p.FlowNoiseFrac * m.p.AirKgPerS * m.rng.NormFloat64()
	r.AirFlowKgPerH = max(0, quantise(3600*(m.flow+noise), 0.01))
	r.AirProven = m.proven

	volts := m.supplyV()
	r.MainsV = quantise(volts, 0.1)
	r.AirHeaterA = quantise(m.in.airHeaterW/volts, 0.01)
	r.RadiantA = quantise(m.in.radiantW/volts, 0.01)
	r.ContactorClosed = m.contactor
	r.EStopHealthy = !m.has(estopPressed)
	r.LimitHealthy = m.limitHealthy()
	r.PhasesHealthy = !m.has(phaseLost) && !m.has(supplyLost)
	r.SupplyHealthy = !m.has(supplyLost)
	r.CoverClosed = !m.has(coverOpen)
	r.ChargeGateOpen = m.timeS < m.gateUntilS
	r.DischargeOpen = m.timeS < m.dischargeUntilS

	r.CoolingFanRunning = m.fanRunning()
	r.StirrerRunning = m.cmd.Stirrer
	r.HornOn = m.cmd.Horn
}

func (m *Machine) beanProbeStatus() ProbeStatus {
	switch {
	case m.has(beanProbeOpen):
		return ProbeOpen
	case m.has(beanProbeFrozen):
		return ProbeFrozen
	case m.has(beanProbeShort):
		return ProbeShorted
	case m.has(beanExhaustSwapped) || m.has(beanProbeOutOfBed):
		return ProbeWrong
	}
	return ProbeGood
}

func (m *Machine) beanDriftK() float64 {
	if !m.has(beanProbeDrift) {
		return 0
	}
	return -20 * min(1, (m.timeS-m.faults.fromS[beanProbeDrift])/300)
}

// status is what is wrong with a probe that one fault breaks and others mislead.
func (m *Machine) status(open faultID, wrong ...faultID) ProbeStatus {
	if m.has(open) {
		return ProbeOpen
	}
	for _, id := range wrong {
		if m.has(id) {
			return ProbeWrong
		}
	}
	return ProbeGood
}

func (m *Machine) probe(r *ProbeReading, feltC float64, s ProbeStatus) {
	noise := m.p.NoiseC * m.rng.NormFloat64()
	r.Status = s
	switch s {
	case ProbeFrozen:
		return
	case ProbeOpen:
		r.C = OpenCircuitC
		return
	case ProbeShorted:
		feltC = m.p.AmbientC
	}
	if m.has(converterShift) {
		feltC += shiftK
		r.Status = ProbeWrong
	}
	r.C = quantise(feltC+noise, m.p.StepC)
}

func (d *drive) reading() DriveReading {
	return DriveReading{Running: d.outputHz > 0, Fault: d.tripped, OutputHz: quantise(d.outputHz, 0.01)}
}

// quantise rounds to a whole number of steps; a step of 0 leaves v alone.
func quantise(v, step float64) float64 {
	if step == 0 {
		return v
	}
	return math.Round(v/step) * step
}

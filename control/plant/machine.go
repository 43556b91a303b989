package plant

import (
	"fmt"
	"math"
	"math/rand/v2"

	"drumwright/control/bean"
)

// innerStepS is the longest step of the integrator. The fastest part, a skin
// patch carried round by the drum, has a time constant of about 0.2 s.
const innerStepS = 0.05

// Machine is one simulated roaster. Build it with New; drive it with
// SetCommands and Step; play the operator with Charge, Drop and EmptyTray.
type Machine struct {
	p   Params
	cmd Commands
	x   vector
	in  held
	now flows
	rng *rand.Rand

	extra *rand.Rand // noise of the second module, and of faults

	timeS  float64
	faults faults

	drum, blower drive
	drumRPM      float64
	turns        float64 // of the drum since the last pulse
	pulses       uint64
	flow         float64 // kg/s moved by the blower
	proven       bool

	airDuty, radiantDuty float64 // of the outputs
	collectorC, cabinetC float64
	hum                  float64 // pulses by mains hum since the last

	contactor    bool
	lastBeat     uint16
	beatAgeS     float64
	limitTripped bool

	bed, tray       load // what the integrated state does not hold
	gasShare        float64
	gateUntilS      float64
	dischargeUntilS float64

	beansInJ, beansOutJ, storedAtStartJ float64

	readings Readings
}

// New makes a machine that is cold, empty and at rest. The seed fixes its noise.
func New(p Params, seed uint64) (*Machine, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	m := &Machine{p: p, rng: rand.New(rand.NewPCG(seed, 0x6472756d)), gasShare: 1, beatAgeS: math.Inf(1),
		extra: rand.New(rand.NewPCG(seed, 0x6578747261)), collectorC: p.AmbientC, cabinetC: p.AmbientC + cabinetOfK}
	m.faults.clearAll()
	for i := xElement; i < xElectricJ; i++ {
		m.x[i] = p.AmbientC
	}
	m.emptyDrum()
	m.storedAtStartJ = m.storedJ()
	m.hold()
	m.now = m.p.derive(&m.in, &m.x, new(vector))
	m.read()
	return m, nil
}

// Params returns the parameters the machine runs on now.
func (m *Machine) Params() Params { return m.p }

// SetCommands replaces all commands; they act from the next step on.
func (m *Machine) SetCommands(c Commands) { m.cmd = c }

// SetMainsV changes the supply voltage; a voltage not above 0 means 1 V, so that
// currents stay finite.
func (m *Machine) SetMainsV(v float64) { m.p.MainsV = max(1, v) }

// SetAmbientC changes the temperature of room, intake air and green beans.
func (m *Machine) SetAmbientC(c float64) { m.p.AmbientC = c }

// Readings returns what the devices reported after the last step.
func (m *Machine) Readings() Readings { return m.readings }

// TimeS is the machine time: the sum of all steps, s.
func (m *Machine) TimeS() float64 { return m.timeS }

// Step lets dtS seconds pass. It makes no allocation. A step that is not above
// zero, or not finite, does nothing.
func (m *Machine) Step(dtS float64) {
	if !(dtS > 0) || math.IsInf(dtS, 1) {
		return
	}
	n := int(math.Ceil(dtS/innerStepS - 1e-9))
	h := dtS / float64(n)
	for range n {
		m.moveDrives(h)
		m.switchHeat(h)
		m.coverProbe(h)
		m.moveRooms(h)
		m.hold()
		m.p.advance(&m.in, &m.x, h)
		m.timeS += h
		if m.x[xLimitProbe] > m.p.LimitTripC || m.x[xElementProbe] > m.p.ElementTripC {
			m.limitTripped = true
		}
	}
	m.now = m.p.derive(&m.in, &m.x, new(vector))
	m.read()
}

func (m *Machine) moveDrives(h float64) {
	enabled := !m.has(estopPressed) && !m.has(supplyLost)
	m.drum.step(m.cmd.DrumRun, enabled, m.has(drumDriveFault), m.cmd.DrumHz, m.p.DrumMaxHz, m.p.DrumRampHzPS, h)
	m.blower.step(m.cmd.BlowerRun, enabled, m.has(blowerDriveFault), m.cmd.BlowerHz, m.p.BlowerMaxHz, m.p.BlowerRampHzPS, h)

	goal := m.drum.outputHz * m.p.DrumRPMPerHz * (1 - m.p.DrumSlipFrac)
	if m.has(beltSlip) {
		goal *= 0.75
	}
	if m.has(drumOverspeed) {
		goal *= 1.4
	}
	tau := m.p.DrumLagS
	switch {
	case m.has(drumStall):
		goal = 0
	case m.drum.blocked:
		tau = m.p.DrumCoastS
	}
	m.drumRPM = lag(m.drumRPM, goal, tau, h)
	m.turns += m.drumRPM / 60 * h
	for gap := 1 / float64(m.p.PulsesPerRev); m.turns >= gap; m.turns -= gap {
		if !m.has(drumPulsesLost) {
			m.pulses++
		}
	}
	if m.has(noisePulses) {
		for m.hum += humPerS * h; m.hum >= 1; m.hum-- {
			m.pulses++
		}
	}

	air := m.p.AirKgPerS * m.blower.outputHz / m.p.BlowerNominalHz
	switch {
	case m.has(airLost):
		air = 0
	case m.has(airStuck):
		air = 0.3 * m.p.AirKgPerS
	case m.has(airWeak):
		air *= 0.5
	case m.has(blowerReversed):
		air *= 0.4
	case m.has(filterBlocking):
		air *= max(0.5, 1-(m.timeS-m.faults.fromS[filterBlocking])/100)
	}
	m.flow = lag(m.flow, air, m.p.AirLagS, h)
	// A tenth of hysteresis keeps the switch from chattering.
	on := m.p.ProvingFrac * m.p.AirKgPerS
	m.proven = (m.flow >= on || (m.proven && m.flow >= 0.9*on) || m.has(provingStuckClosed)) && !m.has(provingStuckOpen)
}

// switchHeat works the contactor: coil, emergency stop, limit and heartbeat
// watchdog in series.
func (m *Machine) switchHeat(h float64) {
	m.beatAgeS += h
	if m.cmd.Heartbeat != m.lastBeat {
		m.lastBeat, m.beatAgeS = m.cmd.Heartbeat, 0
	}
	alive := m.p.HeartbeatS == 0 || m.beatAgeS <= m.p.HeartbeatS
	m.contactor = !m.has(supplyLost) && (m.has(contactorWelded) ||
		m.cmd.HeatEnable && alive && !m.has(estopPressed) && !m.has(controlSupplyLost) && m.limitHealthy())
}

// duties are the commands that reach air heater and panels.
func (m *Machine) duties() (air, radiant float64) {
	if m.has(heaterOutputsSwapped) {
		return m.cmd.RadiantDuty, m.cmd.AirHeaterDuty
	}
	return m.cmd.AirHeaterDuty, m.cmd.RadiantDuty
}

// heaterW is the power a heater really draws.
func (m *Machine) heaterW(duty, ratedW float64, stuck, broken, half faultID) float64 {
	switch {
	case !m.contactor || m.has(broken):
		return 0
	case m.has(stuck):
		duty = 1
	case !(duty > 0) || m.has(controlSupplyLost):
		return 0
	}
	if m.has(half) {
		ratedW /= 2
	}
	v := m.supplyV() / m.p.NominalV
	return min(duty, 1) * ratedW * v * v
}

func (m *Machine) airHeaterW() float64 {
	air, _ := m.duties()
	w := m.heaterW(m.duty(airOutputFrozen, air, &m.airDuty), m.p.AirHeaterMaxW, airHeaterStuckOn, airHeaterBroken, airHeaterHalfWave)
	if m.has(airHeaterWeak) {
		w *= 2.0 / 3
	}
	return w
}

func (m *Machine) radiantW() float64 {
	_, radiant := m.duties()
	return m.heaterW(m.duty(radiantOutputFrozen, radiant, &m.radiantDuty), m.p.RadiantMaxW, radiantStuckOn, radiantBroken, radiantHalfWave)
}

// fireW is what burning beans or chaff give before they burn out.
func (m *Machine) fireW() float64 {
	if !m.has(beanFire) {
		return 0
	}
	w := 3000 * m.bed.greenKg
	if m.flow < 0.1*m.p.AirKgPerS {
		w *= 0.1
	}
	return w
}

// smoulderW is what smouldering beans in the tray give before they burn out.
func (m *Machine) smoulderW() float64 {
	if !m.has(traySmoulder) {
		return 0
	}
	return 6000 * m.tray.greenKg
}

func (m *Machine) supplyV() float64 {
	switch {
	case m.has(supplyLost):
		return 1 // currents stay finite
	case m.has(brownOut):
		return 0.65 * m.p.MainsV
	case m.has(mainsLow):
		return 0.8 * m.p.MainsV
	}
	return m.p.MainsV
}

func (m *Machine) limitHealthy() bool { return !m.limitTripped && !m.has(highLimitOpen) }

func (m *Machine) fanRunning() bool {
	return m.cmd.CoolingFan && !m.has(coolingFanFailed) && !m.has(supplyLost)
}

// coverProbe lets the bed close over the bean probe, or bare it. A bed much
// smaller than usual leaves the probe partly in the gas for good.
func (m *Machine) coverProbe(h float64) {
	goal := 1.0
	if m.bed.dryKg > 0 && !m.has(beanProbeOutOfBed) {
		usual := bean.BulkVolumeL(m.p.BatchKg, m.p.GreenGPerL, 1)
		goal = 1 - (1-m.p.GasShare)*min(1, m.bedL()/(m.p.FullCoverFrac*usual))
	}
	m.gasShare = lag(m.gasShare, goal, m.p.CoverS, h)
}

func (m *Machine) bedL() float64 {
	return bean.BulkVolumeL(m.bed.greenKg, m.p.GreenGPerL, m.x[xDry])
}

// hold gathers what stays constant over an inner step.
func (m *Machine) hold() {
	p := &m.p
	air := max(m.flow, p.DraughtFrac*p.AirKgPerS)
	bare := (m.gasShare - p.GasShare) / (1 - p.GasShare)
	tray := m.trayLoad()
	trayWPerK := p.TrayWPerK
	if !m.fanRunning() {
		trayWPerK *= p.TrayStillFrac
	}
	if !m.cmd.Stirrer {
		trayWPerK *= p.TrayUnmixedFrac
	}
	m.in = held{
		ambientC:   p.AmbientC,
		airKgPerS:  air,
		flowFactor: math.Pow(air/p.AirKgPerS, 0.6),
		stir:       p.stirFactor(m.drumRPM),
		mixWPerK:   p.mixing(m.drumRPM),
		airHeaterW: m.airHeaterW(),
		radiantW:   m.radiantW(),
		dryKg:      m.bed.dryKg,
		fireW:      m.fireW(),
		gasShare:   m.gasShare,
		beanProbeS: p.BeanProbeS + (p.BeanProbeAirS-p.BeanProbeS)*bare,
		trayDryKg:  tray.dryKg * tray.dry,
		trayDB:     tray.moistureDB,
		trayWPerK:  trayWPerK,
		smoulderW:  m.smoulderW(),
	}
}

// ResetLimit is the operator pressing the reset knob of the skin limit and of
// the element cut-out. It holds only if both have cooled 30 K below their trip.
func (m *Machine) ResetLimit() error {
	skin, element := m.x[xLimitProbe], m.x[xElementProbe]
	if skin > m.p.LimitTripC-30 || element > m.p.ElementTripC-30 {
		return fmt.Errorf("plant limit: skin bulb is at %.0f °C and element bulb at %.0f °C, must be below %.0f and %.0f; let them cool and press again",
			skin, element, m.p.LimitTripC-30, m.p.ElementTripC-30)
	}
	m.limitTripped = false
	return nil
}

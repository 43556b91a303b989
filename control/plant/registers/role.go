package registers

import (
	"drumwright/control/plant"
	"drumwright/io/point"
	"drumwright/profiles"
)

// Shown is what a simulated machine shows for a role, in the role's unit; open
// says that it is a probe whose converter reports an open circuit. Buttons are
// not the machine's.
func Shown(i point.Input, r *plant.Readings) (v float64, open bool) {
	probe := func(p plant.ProbeReading) (float64, bool) { return p.C, p.Status == plant.ProbeOpen }
	switch i {
	case point.Bean:
		return probe(r.BeanProbe)
	case point.Bean2:
		return probe(r.Bean2Probe)
	case point.InletAir:
		return probe(r.InletProbe)
	case point.DrumSkin, point.DrumSkin2:
		return probe(r.SkinProbe)
	case point.Exhaust:
		return probe(r.ExhaustProbe)
	case point.HeaterElement:
		return probe(r.ElementProbe)
	case point.HighLimit:
		return probe(r.LimitProbe)
	case point.Ambient:
		return probe(r.AmbientProbe)
	case point.CoolingTray:
		return probe(r.TrayProbe)
	case point.Collector:
		return probe(r.CollectorProbe)
	case point.Cabinet:
		return probe(r.CabinetProbe)
	}
	return number(i, r), false
}

func number(i point.Input, r *plant.Readings) float64 {
	switch i {
	case point.DrumPulses:
		return float64(r.DrumPulses)
	case point.DrumTurning:
		return r.DrumRPM
	case point.AirFlow:
		return r.AirFlowKgPerH
	case point.DrumStatus:
		return status(r.DrumDrive)
	case point.BlowerStatus:
		return status(r.BlowerDrive)
	case point.DrumHz:
		return r.DrumDrive.OutputHz
	case point.DrumCurrent:
		return r.DrumDrive.CurrentA
	case point.AirHeaterCurrent:
		return r.AirHeaterA
	case point.RadiantCurrent:
		return r.RadiantA
	case point.MainsVoltage:
		return r.MainsV
	}
	if contact(i, r) {
		return 1
	}
	return 0
}

func contact(i point.Input, r *plant.Readings) bool {
	switch i {
	case point.DrumFault:
		return r.DrumDrive.Fault
	case point.BlowerFault:
		return r.BlowerDrive.Fault
	case point.AirProving:
		return r.AirProven
	case point.CoolingFanRunning:
		return r.CoolingFanRunning
	case point.CoverClosed:
		return r.CoverClosed
	case point.EmergencyStopHealthy:
		return r.EStopHealthy
	case point.HighLimitHealthy:
		return r.LimitHealthy
	case point.ContactorClosed:
		return r.ContactorClosed
	case point.ChargeGateOpen:
		return r.ChargeGateOpen
	case point.DischargeDoorOpen:
		return r.DischargeOpen
	case point.CarbonMonoxideAlarm:
		return r.CarbonMonoxideAlarm
	case point.PhasesHealthy:
		return r.PhasesHealthy
	case point.SupplyHealthy:
		return r.SupplyHealthy
	}
	return false
}

func status(d plant.DriveReading) float64 {
	switch {
	case d.Fault:
		return point.DriveFault
	case d.Running:
		return point.DriveRunning
	}
	return point.DriveStopped
}

// Wiring turns what outputs hold into what the machine is told.
type Wiring struct {
	m     *profiles.Machine
	beat  bool
	beats uint16
}

// NewWiring is the wiring of a machine. The machine must not change afterwards.
func NewWiring(m *profiles.Machine) Wiring { return Wiring{m: m} }

// Commands is what the machine is told when its outputs hold what held says, in
// the units of the roles; held is not asked for outputs that the machine lacks.
func (w *Wiring) Commands(held func(point.Output) float64) plant.Commands {
	get := func(o point.Output) float64 {
		if !w.m.HasOut[o] {
			return 0
		}
		return held(o)
	}
	on := func(o point.Output) bool { return get(o) >= 0.5 }
	c := plant.Commands{
		DrumRun: on(point.DrumRun), DrumHz: get(point.DrumSpeed),
		BlowerRun: on(point.BlowerRun), BlowerHz: get(point.BlowerSpeed),
		AirHeaterDuty: get(point.AirHeaterPower), RadiantDuty: get(point.RadiantPower),
		HeatEnable: on(point.HeatEnable), CoolingFan: on(point.CoolingFan), Stirrer: on(point.Stirrer), Horn: on(point.Horn),
	}
	// Without an output of its own a thing is wired to go with its neighbour.
	if !w.m.HasOut[point.DrumRun] {
		c.DrumRun = c.DrumHz > 0
	}
	if !w.m.HasOut[point.BlowerRun] {
		c.BlowerRun = c.BlowerHz > 0
	}
	if !w.m.HasOut[point.HeatEnable] {
		c.HeatEnable = true
	}
	if b := on(point.Heartbeat); b != w.beat || !w.m.HasOut[point.Heartbeat] {
		w.beat = b
		w.beats++
	}
	c.Heartbeat = w.beats
	return c
}

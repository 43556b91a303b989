package profiles

import "drumwright/io/point"

// Missing says in plain words what is not covered because the machine lacks a
// point, one sentence for each, in the order of the roles.
func (m *Machine) Missing() []string {
	var out []string
	say := func(absent bool, what string) {
		if absent {
			out = append(out, what)
		}
	}
	in := func(i point.Input) bool { return m.HasIn[i] }
	say(!in(point.Exhaust), "no exhaust: hot or burning exhaust air cannot be seen")
	say(!in(point.HeaterElement), "no heater_element: an element that overheats without air cannot be seen before the inlet air shows it")
	say(!in(point.HighLimit) && !in(point.HighLimitHealthy), "no high_limit and no high_limit_healthy: the independent high limit cannot be watched")
	say(!in(point.Ambient), "no ambient: the start temperature of the beans is assumed, not known")
	say(!in(point.CoolingTray), "no cooling_tray: cooling ends by time alone")
	say(!in(point.DrumPulses) && !in(point.DrumTurning), "no drum_pulses and no drum_turning: a drum that stands still while its motor runs cannot be seen")
	say(!in(point.AirFlow) && !in(point.AirProving), "no air_flow and no air_proving: air that does not move cannot be seen while its blower runs")
	say(!in(point.BlowerStatus) && !in(point.BlowerFault), "no blower_status and no blower_fault: a fault of the blower drive cannot be seen")
	say(!in(point.DrumStatus) && !in(point.DrumFault), "no drum_status and no drum_fault: a fault of the drum drive cannot be seen")
	say(!in(point.DrumHz), "no drum_frequency: drum slip is judged by the set point instead of the drive's output")
	say(m.HasOut[point.CoolingFan] && !in(point.CoolingFanRunning), "no cooling_fan_running: a cooling fan that does not start cannot be seen")
	say(!in(point.CoverClosed), "no cover_closed: open covers and guards cannot be seen")
	say(!in(point.EmergencyStopHealthy), "no emergency_stop_healthy: an emergency stop cannot be told from a power failure")
	say(!in(point.ContactorClosed), "no contactor_closed: a welded or dropped heat contactor cannot be seen")
	say(!in(point.ChargeGateOpen), "no charge_gate_open: charging is told by the bean probe or the operator")
	say(!in(point.DischargeDoorOpen), "no discharge_door_open: the end of discharge is told by time or the operator")
	say(!in(point.ResetButton), "no reset_button: trips are reset at the operator page only")
	say(!in(point.FireButton), "no fire_button: a fire is reported at the operator page only")
	say(!in(point.AirHeaterCurrent), "no air_heater_current: a stuck or failed air heater switch cannot be seen directly")
	say(!in(point.RadiantCurrent), "no radiant_current: a stuck or failed radiant switch cannot be seen directly")
	say(!in(point.MainsVoltage), "no mains_voltage: heater power is not corrected for the mains")
	say(!in(point.Collector), "no collector: a fire in the chaff collector cannot be seen")
	say(!in(point.Cabinet), "no cabinet: a hot control cabinet cannot be seen")
	say(!in(point.CarbonMonoxideAlarm), "no carbon_monoxide_alarm: the room's alarm is not heard here; it must be heard by people")
	say(!in(point.DrumCurrent), "no drum_current: a drum that labours or has lost its belt is seen by its speed only")
	say(!in(point.PhasesHealthy), "no phases_healthy: a lost phase is seen only by the drive that it stops")
	say(!in(point.SupplyHealthy), "no supply_healthy: a loss of all power cannot be told from dead devices")
	say(!m.HasOut[point.HeatEnable], "no heat_enable: heat can be taken away only through the power outputs")
	say(!m.HasOut[point.CoolingFan], "no cooling_fan: cooling is started by hand")
	say(!m.HasOut[point.Horn], "no horn: alarms are shown but not sounded")
	say(!m.HasOut[point.Heartbeat], "no heartbeat: nothing outside notices if this controller stops")
	say(len(m.Constants) == 0, "no identity: a foreign device, a second one with the same unit id or another register map cannot be told from the right one")
	for o := range point.NumOutputs {
		say(m.HasOut[o] && !m.HasBack[o] && o != point.Heartbeat && o != point.Horn, "no read_back of "+o.String()+": a write that is taken but not carried out, or a foreign one, is seen by its effect only")
	}
	return out
}

// Lacks lists in words which of these points the machine does not have: one of some
// inputs, all of others, all of some outputs. It is empty, not nil, for none.
func (m *Machine) Lacks(anyOf, in []point.Input, out []point.Output) []string {
	lacks := []string{}
	found, names := len(anyOf) == 0, ""
	for _, i := range anyOf {
		found = found || m.HasIn[i]
		if names != "" {
			names += " or "
		}
		names += i.String()
	}
	if !found {
		lacks = append(lacks, names)
	}
	for _, i := range in {
		if !m.HasIn[i] {
			lacks = append(lacks, i.String())
		}
	}
	for _, o := range out {
		if !m.HasOut[o] {
			lacks = append(lacks, o.String())
		}
	}
	return lacks
}

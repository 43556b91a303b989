package safety

import (
	"strings"

	"drumwright/io/point"
	"drumwright/profiles"
)

// need is what a machine must have for a cause to be seen: at least one of any,
// every one of all and out, and what is special.
type need struct {
	any, all []point.Input
	out      []point.Output
	special  func(*profiles.Machine) string // what it lacks in words; "" = nothing
}

func anyOf(i ...point.Input) need { return need{any: i} }

// needs lists what each cause needs. A cause that is not listed needs nothing
// that a machine could lack.
var needs = map[string]need{
	"emergency_stop":          anyOf(point.EmergencyStopHealthy),
	"fire_button":             anyOf(point.FireButton),
	"drum_stall":              anyOf(point.DrumPulses, point.DrumTurning),
	"drum_slip":               anyOf(point.DrumPulses, point.DrumTurning),
	"drum_slow":               anyOf(point.DrumPulses, point.DrumTurning),
	"drum_drive":              anyOf(point.DrumStatus, point.DrumFault),
	"drum_not_running":        anyOf(point.DrumStatus),
	"air_lost":                anyOf(point.AirProving, point.AirFlow, point.BlowerStatus),
	"blower_drive":            anyOf(point.BlowerStatus, point.BlowerFault),
	"high_limit":              anyOf(point.HighLimitHealthy),
	"exhaust_high":            anyOf(point.Exhaust),
	"exhaust_probe":           anyOf(point.Exhaust),
	"element_high":            anyOf(point.HeaterElement),
	"element_probe":           anyOf(point.HeaterElement),
	"limit_probe_high":        anyOf(point.HighLimit),
	"limit_probe":             anyOf(point.HighLimit),
	"contactor_stuck":         {all: []point.Input{point.ContactorClosed}, out: []point.Output{point.HeatEnable}},
	"contactor_open":          {all: []point.Input{point.ContactorClosed}, out: []point.Output{point.HeatEnable}},
	"air_current_unasked":     {all: []point.Input{point.AirHeaterCurrent, point.MainsVoltage}},
	"radiant_current_unasked": {all: []point.Input{point.RadiantCurrent, point.MainsVoltage}},
	"heat_not_removed":        {any: []point.Input{point.AirHeaterCurrent, point.RadiantCurrent}, all: []point.Input{point.MainsVoltage}, out: []point.Output{point.HeatEnable}},
	"cooling_fan":             {all: []point.Input{point.CoolingFanRunning}, out: []point.Output{point.CoolingFan}},
	"cover":                   anyOf(point.CoverClosed),
	"beans_apart":             anyOf(point.Bean2),
	"beans_differ":            anyOf(point.Bean2),
	"bean_off_model":          anyOf(point.Exhaust),
	"bean_doubtful":           anyOf(point.Exhaust),
	"bean_exhaust_swapped":    anyOf(point.Exhaust),
	"bean_out_of_bed":         anyOf(point.Exhaust),
	"bean_in_gas":             anyOf(point.Exhaust),
	"air_half_wave":           {all: []point.Input{point.AirHeaterCurrent, point.MainsVoltage}},
	"air_not_following":       {all: []point.Input{point.AirHeaterCurrent, point.MainsVoltage}},
	"air_open":                {all: []point.Input{point.AirHeaterCurrent, point.MainsVoltage}},
	"radiant_half_wave":       {all: []point.Input{point.RadiantCurrent, point.MainsVoltage}},
	"radiant_not_following":   {all: []point.Input{point.RadiantCurrent, point.MainsVoltage}},
	"radiant_open":            {all: []point.Input{point.RadiantCurrent, point.MainsVoltage}},
	"heaters_exchanged":       {all: []point.Input{point.AirHeaterCurrent, point.RadiantCurrent, point.MainsVoltage}},
	"mains_low":               anyOf(point.MainsVoltage),
	"cabinet_high":            anyOf(point.Cabinet),
	"cabinet_warm":            anyOf(point.Cabinet),
	"air_short":               anyOf(point.AirFlow),
	"air_weak":                anyOf(point.AirFlow),
	"air_at_start":            anyOf(point.AirFlow),
	"proving_stuck":           anyOf(point.AirProving),
	"drum_fast":               anyOf(point.DrumPulses, point.DrumTurning),
	"pulses_at_rest":          anyOf(point.DrumPulses),
	"collector_high":          anyOf(point.Collector),
	"collector_rise":          anyOf(point.Collector),
	"collector_warm":          anyOf(point.Collector),
	"tray_hot":                anyOf(point.CoolingTray),
	"tray_rise":               anyOf(point.CoolingTray),
	"carbon_monoxide":         anyOf(point.CarbonMonoxideAlarm),
	"drum_load_high":          {all: []point.Input{point.DrumCurrent}, special: func(m *profiles.Machine) string { return want(m.Drum.FullA > 0, "drum.current_full") }},
	"drum_load_low":           {all: []point.Input{point.DrumCurrent}, special: func(m *profiles.Machine) string { return want(m.Drum.EmptyA > 0, "drum.current_empty") }},
	"phase_lost":              anyOf(point.PhasesHealthy),
	"supply_lost":             anyOf(point.SupplyHealthy),
	"device_wrong":            identified,
	"device_unseen":           identified,
	"write_not_applied":       readBack,
	"foreign_write":           readBack,
}

// identified needs a constant of a device, readBack a place where an output can be
// read back.
var (
	identified = need{special: func(m *profiles.Machine) string { return want(len(m.Constants) > 0, "identity") }}
	readBack   = need{special: func(m *profiles.Machine) string {
		for o := range point.NumOutputs {
			if m.HasOut[o] && m.HasBack[o] {
				return ""
			}
		}
		return "read_back of any output"
	}}
)

func want(has bool, what string) string {
	if has {
		return ""
	}
	return what
}

// covered reports whether the machine has what the cause looks at.
func covered(id string, m *profiles.Machine) bool { return len(lacking(id, m)) == 0 }

// lacking lists what a machine lacks for a cause, each in words.
func lacking(id string, m *profiles.Machine) []string {
	n := needs[id]
	out := m.Lacks(n.any, n.all, n.out)
	if n.special != nil {
		if what := n.special(m); what != "" {
			out = append(out, what)
		}
	}
	return out
}

// Uncovered says in plain words which built-in causes cannot be seen on this
// machine because no point plays the role, in the order of the table.
func Uncovered(m *profiles.Machine) []string {
	var out []string
	for _, r := range Rows(m) {
		if l := lacking(r.ID, m); len(l) > 0 {
			out = append(out, r.ID+" is not watched, for want of "+strings.Join(l, " and ")+": "+r.Cause)
		}
	}
	return out
}

// Rows is the cause-and-effect table of a machine as the gate runs it, for
// printing.
func Rows(m *profiles.Machine) []Row {
	l := capped(m.Limits)
	return rows(&l)
}

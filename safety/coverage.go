package safety

import (
	"drumwright/io/point"
	"drumwright/profiles"
)

// needs lists, for each cause, the input roles of which at least one must be
// there. A cause that is not listed needs none.
var needs = map[string][]point.Input{
	"emergency_stop":   {point.EmergencyStopHealthy},
	"fire_button":      {point.FireButton},
	"drum_stall":       {point.DrumPulses, point.DrumTurning},
	"drum_slip":        {point.DrumPulses, point.DrumTurning},
	"drum_slow":        {point.DrumPulses, point.DrumTurning},
	"drum_drive":       {point.DrumStatus, point.DrumFault},
	"drum_not_running": {point.DrumStatus},
	"air_lost":         {point.AirProving, point.AirFlow, point.BlowerStatus},
	"blower_drive":     {point.BlowerStatus, point.BlowerFault},
	"high_limit":       {point.HighLimitHealthy},
	"exhaust_high":     {point.Exhaust},
	"exhaust_probe":    {point.Exhaust},
	"element_high":     {point.HeaterElement},
	"element_probe":    {point.HeaterElement},
	"limit_probe_high": {point.HighLimit},
	"limit_probe":      {point.HighLimit},
	"contactor_stuck":  {point.ContactorClosed},
	"contactor_open":   {point.ContactorClosed},
	"cooling_fan":      {point.CoolingFanRunning},
	"cover":            {point.CoverClosed},
}

// covered reports whether the machine has what the cause looks at.
func covered(id string, m *profiles.Machine) bool {
	list, listed := needs[id]
	if !listed {
		return true
	}
	for _, i := range list {
		if m.HasIn[i] {
			return true
		}
	}
	return false
}

// Uncovered says in plain words which built-in causes cannot be seen on this
// machine because no point plays the role, in the order of the table.
func Uncovered(m *profiles.Machine) []string {
	var out []string
	for _, r := range rows(&m.Limits) {
		if covered(r.ID, m) {
			continue
		}
		text := r.ID + " is not watched, for want of "
		for i, in := range needs[r.ID] {
			if i > 0 {
				text += " or "
			}
			text += in.String()
		}
		out = append(out, text+": "+r.Cause)
	}
	return out
}

// Rows is the cause-and-effect table of a machine, for printing.
func Rows(m *profiles.Machine) []Row { return rows(&m.Limits) }

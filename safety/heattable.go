package safety

import (
	"drumwright/io/point"
	"drumwright/profiles"
)

// heatRows are the causes by which the heaters do not follow.
func heatRows(l *profiles.Limits) []Row {
	return []Row{
		{ID: "air_half_wave", State: S1, Arm: HeatOn, AfterS: 2, Class: WithFinding, Priority: High,
			Cause:       "The air heater draws about half of what it is told to.",
			Consequence: "The switch conducts one half of the wave, or elements are broken.",
			Action:      "Have switch and elements checked.",
			signal:      halfWave(0)},
		{ID: "air_not_following", State: S1, Arm: HeatOn, AfterS: 8, Class: WithFinding, Priority: Critical,
			Cause:       "The air heater draws more than it is told to.",
			Consequence: "The output no longer obeys.",
			Action:      "Isolate the heater; have output and switch checked.",
			signal:      notFollowing(0)},
		{ID: "radiant_half_wave", State: S1, Arm: HeatOn, AfterS: 2, Class: WithFinding, Priority: High,
			Cause:       "The panels draw about half of what they are told to.",
			Consequence: "The switch conducts one half of the wave, or elements are broken.",
			Action:      "Have switch and elements checked.",
			signal:      halfWave(1)},
		{ID: "radiant_not_following", State: S1, Arm: HeatOn, AfterS: 8, Class: WithFinding, Priority: Critical,
			Cause:       "The panels draw more than they are told to.",
			Consequence: "The output no longer obeys.",
			Action:      "Isolate the heater; have output and switch checked.",
			signal:      notFollowing(1)},
		{ID: "mains_low", State: S1, Arm: BeansHot, AfterS: 0.2, Class: AtMachine, Priority: High,
			Cause:       "The mains are far below their voltage.",
			Consequence: "Contactors chatter, drives trip.",
			Action:      "Wait for the mains; ask the electrician.",
			signal:      mainsLow},
		{ID: "cabinet_high", State: S1, Arm: Always, AfterS: float64(l.CabinetHigh.AfterS), Class: WithFinding, Priority: High,
			Cause:       "The control cabinet is too hot.",
			Consequence: "A loose terminal or a dead fan: fire, failing drives.",
			Action:      "Isolate; have the terminals checked.",
			signal:      above(func(l *profiles.Limits) profiles.Trip { return l.CabinetHigh }, point.Cabinet)},
		{ID: "air_open", State: S0, Warn: true, Arm: HeatOn, AfterS: 3, Class: Acknowledge, Priority: Medium,
			Cause:       "The air heater draws less than it is told to.",
			Consequence: "An element is broken: the roast becomes slow.",
			Action:      "Finish or drop; have the elements checked.",
			signal:      heaterOpen(0)},
		{ID: "radiant_open", State: S0, Warn: true, Arm: HeatOn, AfterS: 3, Class: Acknowledge, Priority: Medium,
			Cause:       "The panels draw less than they are told to.",
			Consequence: "An element is broken: the roast becomes slow.",
			Action:      "Finish or drop; have the elements checked.",
			signal:      heaterOpen(1)},
		{ID: "air_no_heat", State: S0, Warn: true, Arm: HeatOn, AfterS: 20, Class: Acknowledge, Priority: Medium,
			Cause:       "The inlet air hardly warms though the air heater is at work.",
			Consequence: "A dead element, or a probe that is off.",
			Action:      "Check the air heater and the inlet probe.",
			signal:      airNoHeat},
		{ID: "cabinet_warm", State: S0, Warn: true, Arm: Always, AfterS: 60, Class: Acknowledge, Priority: Medium,
			Cause:       "The control cabinet is warm.",
			Consequence: "It ages; drives derate.",
			Action:      "Look at its fan and filter.",
			signal:      above(func(l *profiles.Limits) profiles.Trip { return below(l.CabinetHigh, 10) }, point.Cabinet)},
	}
}

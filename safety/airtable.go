package safety

import "drumwright/profiles"

// flowRows are the causes by which air or drum are not what they are told to be.
func flowRows(_ *profiles.Limits) []Row {
	return []Row{
		{ID: "air_short", State: S4, Arm: BlowerOn, AfterS: 3, Class: AtMachine, Priority: Critical,
			Cause:       "Far less air is measured than the blower should give.",
			Consequence: "A blocked filter or duct: the element overheats, smoke comes into the room.",
			Action:      "Clean filter, collector and duct; note it.",
			signal:      airShort(func(l *profiles.Limits) float64 { return float64(l.AirWeakTrip) })},
		{ID: "drum_fast", State: S3, Arm: DrumOn, AfterS: 2, Class: WithFinding, Priority: High,
			Cause:       "The drum turns faster than it is told to.",
			Consequence: "Beans cling to the wall; parts may break.",
			Action:      "Check drive setting and shaft sensor.",
			signal:      drumFast},
		{ID: "air_at_start", State: S0, Warn: true, Hold: true, Arm: Always, AfterS: 3, Class: Acknowledge, Priority: Medium,
			Cause:       "The blower gives too little air to begin heat.",
			Consequence: "It may turn backwards, or the filter is blocked.",
			Action:      "Look at the turning direction and the filter.",
			signal:      airAtStart},
		{ID: "proving_stuck", State: S0, Warn: true, Hold: true, Arm: Always, AfterS: 0, Class: Acknowledge, Priority: Medium,
			Cause:       "The air proving switch says air though the blower is off.",
			Consequence: "It would hide a loss of air.",
			Action:      "Check the switch.",
			signal:      provingStuck},
		{ID: "pulses_at_rest", State: S0, Warn: true, Hold: true, Arm: Always, AfterS: 0, Class: Acknowledge, Priority: Medium,
			Cause:       "The shaft sensor gives pulses though the drum is off.",
			Consequence: "They would hide a stall.",
			Action:      "Check the sensor and its cable.",
			signal:      humming},
		{ID: "drum_load_high", State: S0, Warn: true, Arm: DrumOn, AfterS: 5, Class: Acknowledge, Priority: High,
			Cause:       "The drum's motor labours.",
			Consequence: "A bearing, a stone or too many beans: a stall is coming.",
			Action:      "Listen to the drum; drop if it goes on, and look before the next batch.",
			signal:      drumHeavy},
		{ID: "drum_load_low", State: S0, Warn: true, Arm: DrumOn, AfterS: 2, Class: Acknowledge, Priority: High,
			Cause:       "The drum's motor draws less than the empty drum needs.",
			Consequence: "Belt or chain may be off: the beans lie still.",
			Action:      "Look whether the drum turns.",
			signal:      drumIdle},
		{ID: "air_weak", State: S0, Warn: true, Arm: BlowerOn, AfterS: 30, Class: Acknowledge, Priority: Medium,
			Cause:       "Less air is measured than the blower should give.",
			Consequence: "Filter or collector fill up.",
			Action:      "Clean them after this batch.",
			signal:      airShort(func(l *profiles.Limits) float64 { return float64(l.AirWeakWarn) })},
	}
}

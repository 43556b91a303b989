package safety

import "drumwright/profiles"

// batchRows are what people may have overlooked in a batch.
func batchRows(_ *profiles.Limits) []Row {
	return []Row{
		{ID: "drop_overdue", State: S0, Warn: true, Arm: BeansIn, AfterS: 2, Class: Acknowledge, Priority: High,
			Cause:       "The beans are past the end of the roast.",
			Consequence: "Over-roast, on the way to fire.",
			Action:      "Drop the beans now.",
			signal:      dropOverdue},
		{ID: "double_charge", State: S0, Warn: true, Arm: BeansIn, AfterS: 2, Class: Acknowledge, Priority: High,
			Cause:       "The bean probe falls a second time in this roast.",
			Consequence: "A second charge may have gone in: overload, stall.",
			Action:      "Look into the drum; drop if in doubt.",
			signal:      doubleCharge},
		{ID: "cold_charge", State: S0, Warn: true, Arm: BeansIn, AfterS: 2, Class: Acknowledge, Priority: Medium,
			Cause:       "The beans went into a cold drum.",
			Consequence: "They bake.",
			Action:      "Drop them or warm on.",
			signal:      coldCharge},
	}
}

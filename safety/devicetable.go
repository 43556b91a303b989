package safety

import "drumwright/profiles"

// deviceRows are the causes by which a device is not the one that is meant, or
// does not take what is written.
func deviceRows(_ *profiles.Limits) []Row {
	return []Row{
		{ID: "device_wrong", State: S1, Fixed: true, Arm: Always, AfterS: 0, Class: WithFinding, Priority: Critical,
			Cause:       "A device is not the one that the machine file means.",
			Consequence: "Every value of it may be another's; orders may go to the wrong place.",
			Action:      "Check unit ids, adapters and the device's settings.",
			signal:      deviceWrong},
		{ID: "write_not_applied", State: S1, Arm: Always, AfterS: 1, Class: AtMachine, Priority: Critical,
			Cause:       "A device does not hold what it has been told and has acknowledged.",
			Consequence: "Heat or motion are not what the controller asks for.",
			Action:      "Check the device's mode, its local switch and its watchdog.",
			signal:      echoes(func(e *echo) bool { return e.differs })},
		{ID: "foreign_write", State: S1, Arm: Always, AfterS: 0, Class: AtMachine, Priority: Critical,
			Cause:       "An output has changed in its device though nothing was told to it here.",
			Consequence: "A second controller fights for the machine, or the device has started anew.",
			Action:      "Find the other master and take it off the bus; look at the device's supply.",
			signal:      echoes(func(e *echo) bool { return e.foreign })},
		{ID: "computer_tight", State: S0, Warn: true, Arm: Always, AfterS: 10, Class: Acknowledge, Priority: Low,
			Cause:       computerTight.say("The controller's computer is hot or short of room"),
			Consequence: "It becomes slow, or stops keeping what happens.",
			Action:      "Give it air; look at what else runs on it and what fills its disk.",
			signal:      computerPast(computerTight)},
		{ID: "computer_failing", State: S0, Warn: true, Hold: true, Arm: Always, AfterS: 10, Class: Acknowledge, Priority: Medium,
			Cause:       computerFailed.say("The controller's computer is too hot or out of room"),
			Consequence: "It may stop in a roast; a new one does not begin.",
			Action:      "Finish the batch. Cool the computer, or make room on it, before the next.",
			signal:      computerPast(computerFailed)},
		{ID: "device_unseen", State: S0, Warn: true, Hold: true, Arm: Always, AfterS: 2, Class: Acknowledge, Priority: Medium,
			Cause:       "A device does not say which it is.",
			Consequence: "It may not be the one that is meant: heat is not begun.",
			Action:      "Check cable, supply and the register under identity.",
			signal:      deviceUnseen},
	}
}

package proof

// Cautions are to be read before any proof test.
func Cautions() []string {
	return []string{
		"Software is no safety device. The hard-wired high limit with its own reset, the emergency stop that takes the heaters' power, fuses and earth-leakage protection must be there, whatever these tests show.",
		"Anything behind a cover of the mains side is for a licensed electrician, isolated and locked off. A drive stays live for minutes after it is switched off: its label says how long.",
		"Drum, air and metal are hot, and stay hot long after the heat is off.",
		"Guards on, sleeves and hair away, nobody near the drum but you, the emergency stop within your reach. Never put a hand or a tool to a turning drum or belt.",
		"Test with an empty drum, and stay. If there is smoke or fire: leave drum and doors shut and follow the fire plan of the shop.",
		"Exhaust goes outside, and a carbon monoxide alarm hangs in the room. Local codes and licensed practice come before anything that is said here.",
		"Isolate the heaters where a test does not need them.",
		"Limits and intervals here are starting values, not proven for your machine.",
		"A test that fails has done its work: stop, do not roast, find out why. Never raise a limit or bridge a contact to get past it.",
		"Look at the machine before every reset.",
	}
}

// BeforeHeat are the same in short, for whoever sets a machine up.
func BeforeHeat() []string {
	return []string{
		"Software is no safety device. There must be a hard-wired high limit with manual reset, an emergency stop that takes the heaters' power by hardware, a contactor in series with the heaters' switches, fuses and earth-leakage protection.",
		"Mains wiring, heaters and drives are for a licensed electrician, isolated and locked off.",
		"Chaff and beans burn: never leave a running roast, agree a fire plan, keep a burning drum shut.",
		"Smoke carries carbon monoxide: lead the exhaust outside and have an alarm for it in the room.",
		"Limits are starting values, not proven for your machine. Prove the interlocks: drumwright prove.",
		"Local codes and licensed practice come first.",
	}
}

package safety

import (
	"drumwright/io/point"
	"drumwright/profiles"
)

// fireRows are fire outside the drum and poisonous air.
func fireRows(l *profiles.Limits) []Row {
	return []Row{
		{ID: "collector_high", State: S2, Fixed: true, Arm: Always, AfterS: float64(l.CollectorHigh.AfterS), Class: WithFinding, Priority: Critical,
			Cause:       "The chaff collector is above its limit.",
			Consequence: "Chaff may burn, fed by the air.",
			Action:      "Follow the fire plan; keep everything shut.",
			signal:      above(func(l *profiles.Limits) profiles.Trip { return l.CollectorHigh }, point.Collector)},
		{ID: "collector_rise", State: S2, Fixed: true, Arm: Always, AfterS: 2, Class: WithFinding, Priority: Critical,
			Cause:       "The chaff collector becomes hot fast.",
			Consequence: "Chaff may burn, fed by the air.",
			Action:      "Follow the fire plan; keep everything shut.",
			signal:      collectorRise},
		{ID: "tray_hot", State: S2, Fixed: true, Arm: Always, AfterS: 1, Class: WithFinding, Priority: Critical,
			Cause:       "Beans in the tray are hot though they have long been cooled.",
			Consequence: "They may smoulder.",
			Action:      "Follow the fire plan; spread them where nothing burns.",
			signal:      trayHot},
		{ID: "tray_rise", State: S2, Fixed: true, Arm: Always, AfterS: 10, Class: WithFinding, Priority: Critical,
			Cause:       "Beans in the tray become hotter.",
			Consequence: "They may smoulder.",
			Action:      "Follow the fire plan; spread them where nothing burns.",
			signal:      trayRise},
		{ID: "carbon_monoxide", State: S5, Fixed: true, Arm: Always, AfterS: 1, Class: AtMachine, Priority: Critical,
			Cause:       "The carbon monoxide or smoke alarm of the room sounds.",
			Consequence: "The air of the room may be poisonous.",
			Action:      "Leave the room, let air in, look at the exhaust before going on.",
			signal:      contactOn(point.CarbonMonoxideAlarm)},
		{ID: "collector_warm", State: S0, Warn: true, Arm: Always, AfterS: 2, Class: Acknowledge, Priority: High,
			Cause:       "The chaff collector is hot.",
			Consequence: "Chaff may catch fire.",
			Action:      "Drop early; empty and clean the collector.",
			signal:      above(func(l *profiles.Limits) profiles.Trip { return below(l.CollectorHigh, 30) }, point.Collector)},
	}
}

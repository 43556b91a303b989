package safety

import "drumwright/profiles"

// Hard ceilings. No machine file sets a limit above these (estimates, common
// practice, no source: they leave room below the temperatures at which metal,
// chaff or beans are harmed).
const (
	CeilingBeanC       = 250.0
	CeilingInletC      = 450.0
	CeilingExhaustC    = 300.0
	CeilingSkinC       = 330.0
	CeilingElementC    = 800.0
	CeilingLimitProbeC = 380.0
	CeilingStallS      = 5.0
	CeilingAirLostS    = 2.0
	CeilingBusLostS    = 5.0
)

// capLimits lowers every limit to its ceiling. Load has refused such a file
// already; this is the gate's own belt.
func capLimits(l *profiles.Limits) {
	lower := func(t *profiles.Trip, ceiling float64) { t.At = min(t.At, profiles.Celsius(ceiling)) }
	lower(&l.BeanHigh, CeilingBeanC)
	lower(&l.InletHigh, CeilingInletC)
	lower(&l.ExhaustHigh, CeilingExhaustC)
	lower(&l.SkinHigh, CeilingSkinC)
	lower(&l.ElementHigh, CeilingElementC)
	lower(&l.LimitHigh, CeilingLimitProbeC)
	l.StallS = min(l.StallS, CeilingStallS)
	l.AirLostS = min(l.AirLostS, CeilingAirLostS)
	l.BusLostS = min(l.BusLostS, CeilingBusLostS)
}

package safety

import (
	"fmt"
	"math"

	"drumwright/profiles"
)

// ceilings are the hard limits of the limits: no machine file sets one above
// (estimates, common practice, no source: they leave room below the
// temperatures at which metal, chaff or beans are harmed, and no protection
// waits longer than its hazard takes).
func ceilings(l *profiles.Limits) []ceiling {
	c := func(key string, v *profiles.Celsius, most float64) ceiling {
		return ceiling{key, (*float64)(v), most, "°C"}
	}
	s := func(key string, v *profiles.Seconds, most float64) ceiling {
		return ceiling{key, (*float64)(v), most, "s"}
	}
	return []ceiling{
		c("bean_high.at", &l.BeanHigh.At, 250), s("bean_high.after", &l.BeanHigh.AfterS, 5),
		c("bean_heat_off", &l.BeanHeatOff, 245),
		c("inlet_high.at", &l.InletHigh.At, 450), s("inlet_high.after", &l.InletHigh.AfterS, 5),
		c("exhaust_high.at", &l.ExhaustHigh.At, 300), s("exhaust_high.after", &l.ExhaustHigh.AfterS, 5),
		c("skin_high.at", &l.SkinHigh.At, 330), s("skin_high.after", &l.SkinHigh.AfterS, 5),
		c("element_high.at", &l.ElementHigh.At, 800), s("element_high.after", &l.ElementHigh.AfterS, 5),
		c("limit_probe_high.at", &l.LimitHigh.At, 380), s("limit_probe_high.after", &l.LimitHigh.AfterS, 5),
		s("sensor_bad", &l.SensorBadS, 2), s("frozen", &l.FrozenS, 60), s("drum_stall", &l.StallS, 5),
		{"bean_rise", (*float64)(&l.RiseKPerS), 20, "K/s"},
		{"drum_slip_trip", (*float64)(&l.SlipTrip), 0.9, ""}, {"drum_slip_warn", (*float64)(&l.SlipWarn), 0.5, ""},
		s("drum_slip_after", &l.SlipTripS, 10), s("air_lost", &l.AirLostS, 2), s("drive_fault", &l.DriveFaultS, 2),
		s("unit_lost", &l.BusLostS, 5), s("cooling_fan", &l.FanFailS, 20), s("cover", &l.CoverS, 5), s("scan_late", &l.ScanLateS, 2),
		{"heat_off_rise", (*float64)(&l.OffRiseKPerS), 5, "K/s"},
		s("heat_off_wait_air", &l.OffRiseAirS, 300), s("heat_off_wait_skin", &l.OffRiseSkinS, 900),
		c("collector_high.at", &l.CollectorHigh.At, 180), s("collector_high.after", &l.CollectorHigh.AfterS, 5),
		c("cabinet_high.at", &l.CabinetHigh.At, 75), s("cabinet_high.after", &l.CabinetHigh.AfterS, 10),
		{"bean_probes_apart", (*float64)(&l.ProbesApartK), 15, "K"}, {"cold_probes_apart", (*float64)(&l.ColdApartK), 15, "K"},
		{"air_weak_warn", (*float64)(&l.AirWeakWarn), 0.4, ""}, {"air_weak_trip", (*float64)(&l.AirWeakTrip), 0.6, ""},
		{"mains_low", (*float64)(&l.MainsLow), 0.3, ""},
	}
}

type ceiling struct {
	key  string
	v    *float64
	most float64
	unit string
}

// capped lowers every limit to its ceiling; what is not a number becomes it.
func capped(l profiles.Limits) profiles.Limits {
	for _, c := range ceilings(&l) {
		if math.IsNaN(*c.v) {
			*c.v = c.most
		}
		*c.v = math.Min(*c.v, c.most)
	}
	return l
}

// Lowered says in plain words which limits of a machine the gate lowers to its
// hard ceilings.
func Lowered(m *profiles.Machine) []string {
	var out []string
	l := m.Limits
	for _, c := range ceilings(&l) {
		if !(*c.v <= c.most) {
			out = append(out, fmt.Sprintf("limits.%s of %v %s is lowered to the hard ceiling of %v %s", c.key, *c.v, c.unit, c.most, c.unit))
		}
	}
	return out
}

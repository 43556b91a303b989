package profiles

import (
	"fmt"

	"drumwright/io/point"
)

// checkLimits holds the order of the limits: set points below trips, trips
// within what the probes can show, warnings before trips.
func (s *source) checkLimits(m *Machine) {
	l := &m.Limits
	below := func(lowKey string, low Celsius, highKey string, high Celsius) {
		if s.sound(lowKey, highKey) && low >= high {
			s.faultAt(lowKey, highKey, low.String(), "less than "+highKey+", "+high.String())
		}
	}
	below("limits.bean_heat_off", l.BeanHeatOff, "limits.bean_high.at", l.BeanHigh.At)
	below("loops.air.min_set", m.Loops.Air.MinSet, "loops.air.max_set", m.Loops.Air.MaxSet)
	below("loops.air.max_set", m.Loops.Air.MaxSet, "limits.inlet_high.at", l.InletHigh.At)
	below("loops.base.max_set", m.Loops.Base.MaxSet, "limits.skin_high.at", l.SkinHigh.At)

	for _, t := range [...]struct {
		key  string
		trip Trip
		in   point.Input
	}{
		{"limits.bean_high", l.BeanHigh, point.Bean}, {"limits.bean_high", l.BeanHigh, point.Bean2},
		{"limits.inlet_high", l.InletHigh, point.InletAir}, {"limits.exhaust_high", l.ExhaustHigh, point.Exhaust},
		{"limits.skin_high", l.SkinHigh, point.DrumSkin}, {"limits.skin_high", l.SkinHigh, point.DrumSkin2},
		{"limits.element_high", l.ElementHigh, point.HeaterElement}, {"limits.limit_probe_high", l.LimitHigh, point.HighLimit},
		{"limits.collector_high", l.CollectorHigh, point.Collector}, {"limits.cabinet_high", l.CabinetHigh, point.Cabinet},
	} {
		probe := join("inputs", t.in.String()) + ".max"
		if m.HasIn[t.in] && s.sound(t.key+".at", probe, join("inputs", t.in.String())+".min") && float64(t.trip.At) >= m.In[t.in].Max {
			s.faultAt(probe, t.key+".at", fmt.Sprintf("%v °C", m.In[t.in].Max), fmt.Sprintf("more than %s.at, %v, or the probe is bad before it trips", t.key, t.trip.At))
		}
	}
	if s.sound("limits.drum_slip_warn", "limits.drum_slip_trip") && l.SlipWarn >= l.SlipTrip {
		s.faultAt("limits.drum_slip_warn", "limits.drum_slip_trip", l.SlipWarn.String(), "less than limits.drum_slip_trip, "+l.SlipTrip.String())
	}
	if s.sound("limits.air_weak_warn", "limits.air_weak_trip") && l.AirWeakWarn >= l.AirWeakTrip {
		s.faultAt("limits.air_weak_warn", "limits.air_weak_trip", l.AirWeakWarn.String(), "less than limits.air_weak_trip, "+l.AirWeakTrip.String())
	}
	for _, d := range [...]struct {
		key string
		v   Seconds
	}{{"limits.sensor_bad", l.SensorBadS}, {"limits.scan_late", l.ScanLateS}, {"limits.unit_lost", l.BusLostS}} {
		if s.sound(d.key, "scan.period") && d.v < 2*m.Scan.PeriodS {
			s.faultAt(d.key, "scan.period", d.v.String(), "at least two scans of "+m.Scan.PeriodS.String())
		}
	}
	if s.sound("batch.run_down_hold", "batch.run_down_limit") && m.Batch.RunDownHoldS >= m.Batch.RunDownMaxS {
		s.faultAt("batch.run_down_hold", "batch.run_down_limit", m.Batch.RunDownHoldS.String(), "less than batch.run_down_limit, "+m.Batch.RunDownMaxS.String())
	}
}

// faultAt puts a fault between two keys at the one that the file has.
func (s *source) faultAt(key, other, found, allowed string) {
	at := key
	if !s.has(key) && s.has(other) {
		at = other
		found = key + " of " + found
	}
	s.fault(at, found, allowed, "move one of the two")
}

package profiles

import (
	"fmt"

	"drumwright/io/point"
)

// Trip is one threshold with its delay. The range of At stands at each limit
// and ends at the hard ceiling that package safety holds.
type Trip struct {
	At     Celsius `yaml:"at" doc:"trips at or above"`
	AfterS Seconds `yaml:"after" range:"0..10" doc:"must stand this long"`
}

// Limits are the site's values for the built-in interlocks. Defaults are
// estimates (common practice, no source) that commissioning replaces. Package
// safety holds hard ceilings above which none of them can be set.
type Limits struct {
	BeanHigh     Trip       `yaml:"bean_high" range:"150..250" default:"{at: 245 °C, after: 1 s}" doc:"bean probe"`
	BeanHeatOff  Celsius    `yaml:"bean_heat_off" range:"100..245" default:"235 °C" doc:"heat is withheld at or above, without a trip"`
	InletHigh    Trip       `yaml:"inlet_high" range:"100..450" default:"{at: 350 °C, after: 1 s}" doc:"inlet air"`
	ExhaustHigh  Trip       `yaml:"exhaust_high" range:"100..300" default:"{at: 270 °C, after: 1 s}" doc:"air leaving the drum"`
	SkinHigh     Trip       `yaml:"skin_high" range:"100..330" default:"{at: 300 °C, after: 2 s}" doc:"drum skin"`
	ElementHigh  Trip       `yaml:"element_high" range:"100..800" default:"{at: 650 °C, after: 1 s}" doc:"heater element"`
	LimitHigh    Trip       `yaml:"limit_probe_high" range:"100..380" default:"{at: 320 °C, after: 1 s}" doc:"probe of the independent limit"`
	SensorBadS   Seconds    `yaml:"sensor_bad" range:"0.1..2" default:"0.75 s" doc:"a needed probe bad for this long trips"`
	FrozenS      Seconds    `yaml:"frozen" range:"2..60" default:"10 s" doc:"a probe that does not move at all for this long while others do"`
	RiseKPerS    KelvinRate `yaml:"bean_rise" range:"0.5..20" default:"2 K/s" doc:"a faster rise of the bean probe outside charge, standing for 3 s, trips"`
	StallS       Seconds    `yaml:"drum_stall" range:"0.5..5" default:"3 s" doc:"no shaft pulse for this long, or 2.5 expected periods if longer"`
	SlipWarn     Share      `yaml:"drum_slip_warn" range:"0.01..0.5" default:"15 %" doc:"drum slower than expected by this share warns"`
	SlipTrip     Share      `yaml:"drum_slip_trip" range:"0.05..0.9" default:"40 %" doc:"drum slower than expected by this share trips"`
	SlipTripS    Seconds    `yaml:"drum_slip_after" range:"0.5..10" default:"3 s" doc:"time for which too much slip must stand"`
	AirLostS     Seconds    `yaml:"air_lost" range:"0.1..2" default:"0.5 s" doc:"air not proven for this long"`
	DriveFaultS  Seconds    `yaml:"drive_fault" range:"0..2" default:"0.3 s" doc:"fault of drum drive or blower"`
	BusLostS     Seconds    `yaml:"unit_lost" range:"0.5..5" default:"2 s" doc:"a needed unit silent for this long"`
	FanFailS     Seconds    `yaml:"cooling_fan" range:"0.5..20" default:"3 s" doc:"cooling fan not proven after its command"`
	CoverS       Seconds    `yaml:"cover" range:"0..5" default:"1 s" doc:"cover open"`
	ScanLateS    Seconds    `yaml:"scan_late" range:"0.2..2" default:"1 s" doc:"a gap between scans longer than this trips"`
	OffRiseKPerS KelvinRate `yaml:"heat_off_rise" range:"0.05..5" default:"0.3 K/s" doc:"inlet air or skin still rising this fast with heat off"`
	OffRiseAirS  Seconds    `yaml:"heat_off_wait_air" range:"2..300" default:"15 s" doc:"time after which the inlet air must fall with heat off"`
	OffRiseSkinS Seconds    `yaml:"heat_off_wait_skin" range:"10..900" default:"90 s" doc:"the same for the drum skin"`

	CollectorHigh Trip    `yaml:"collector_high" range:"60..180" default:"{at: 150 °C, after: 1 s}" doc:"chaff collector; 30 K below it warns"`
	CabinetHigh   Trip    `yaml:"cabinet_high" range:"40..75" default:"{at: 65 °C, after: 10 s}" doc:"control cabinet; 10 K below it warns"`
	ProbesApartK  Kelvins `yaml:"bean_probes_apart" range:"2..15" default:"10 K" doc:"two bean probes in beans that differ by more for 10 s trip; by half of it for 30 s warn"`
	ColdApartK    Kelvins `yaml:"cold_probes_apart" range:"2..15" default:"8 K" doc:"probes of a cold machine that differ by more refuse heat"`
	AirWeakWarn   Share   `yaml:"air_weak_warn" range:"0.02..0.4" default:"20 %" doc:"measured air flow short of what the blower should give by this share for 30 s warns"`
	AirWeakTrip   Share   `yaml:"air_weak_trip" range:"0.05..0.6" default:"40 %" doc:"measured air flow short by this share for 3 s trips"`
	MainsLow      Share   `yaml:"mains_low" range:"0.02..0.3" default:"15 %" doc:"mains below its nominal voltage by this share for 0.2 s trips"`
}

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

package telemetry

import (
	"github.com/prometheus/client_golang/prometheus"

	"drumwright/io/record"
)

// Version of the names and labels of metrics and of the topics. It rises when one
// of them is renamed, dropped or given another meaning, never for an addition.
const Version = 1

func desc(name, help string, labels ...string) *prometheus.Desc {
	return prometheus.NewDesc("drumwright_"+name, help, labels, nil)
}

var (
	temperature  = desc("temperature_celsius", "Measured temperature. Missing while the point is bad, or no scan has come.", "point")
	quality      = desc("point_quality", "1 for the quality that the point has now, 0 for the others. A point that is not good needs its probe, wiring or bus looked at.", "point", "quality")
	contact      = desc("contact_on", "1 while the contact is on. Missing while the point is bad.", "point")
	state        = desc("state", "1 for the state of the batch sequence, 0 for the others.", "state")
	loopSet      = desc("loop_set_celsius", "Set point in force. Missing while the loop is off.", "loop")
	loopDuty     = desc("loop_duty_ratio", "Share of rated power that control asks for. Near 1 for long: the heater is too weak for the recipe.", "loop")
	loopPower    = desc("loop_power_watts", "Power that control asks for.", "loop")
	loopMode     = desc("loop_mode", "1 for the mode of the loop, 0 for the others.", "loop", "mode")
	heaterPermit = desc("heater_permit_ratio", "Share of rated power that the gate lets through to the heater. Below the duty asked for: the gate holds heat back.", "output")
	alarmActive  = desc("alarm_active", "1 while the cause stands or is latched, 0 while it does not; every alarm of the machine is here.", "cause", "priority")
	lastScan     = desc("last_scan_timestamp_seconds", "Wall clock at the last scan. Falling behind: the scan loop stands.")
	lateness     = desc("scan_lateness_seconds", "How long after its deadline each scan began. Near the scan period: the computer is too slow or too busy.")
	busRequests  = desc("bus_requests_total", "Requests sent over the bus.", "bus")
	busErrors    = desc("bus_errors_total", "Requests that got no usable answer. Rising steadily: look at cable, termination and addresses.", "bus")
	dropped      = desc("dropped_total", "Records that a sink has dropped because it could not keep up. Rising: look at the disk or the broker.", "sink", "what")
	forcedOff    = desc("forced_heat_off_total", "Times that heat was turned off apart from the scans, because none was finished for too long. Rising: the computer or a bus stands; look before the next batch.")
	forcedFailed = desc("forced_heat_off_failures_total", "Attempts at that which no device acknowledged. Rising: only the hardware's own watchdogs are left.")
	version      = desc("telemetry_version", "Version of these names and labels. It rises when one is renamed, dropped or given another meaning.")
	barred       = desc("new_roasts_held_up", "1 while a proof test holds up new roasts: prove --list says which.")
)

// gauges hold one value each, left out while it is not known.
var gauges = []struct {
	desc *prometheus.Desc
	of   func(*record.View, *record.Scan) record.Number
}{
	{desc("estimated_bean_celsius", "Estimated bean temperature without the probe's lag. Missing while no estimate is made."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Bean.TrueC }},
	{desc("estimated_bean_sd_celsius", "Standard deviation of the estimated bean temperature. Large: the estimate is not to be trusted."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Bean.TrueSdC }},
	{desc("target_bean_celsius", "Bean temperature that the recipe wants now. Missing when it wants none."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Bean.TargetC }},
	{desc("rate_of_rise_kelvin_per_second", "Estimated rate of rise of the beans. Missing while no estimate is made."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Bean.RateKPerS }},
	{desc("first_crack_due_seconds", "Time left until first crack is expected, by the coffee's earlier batches. Missing while it is too far away to tell, and once it was heard."),
		func(v *record.View, _ *record.Scan) record.Number {
			return ofBatch(v, func(b *record.BatchView) record.Number { return b.CrackDueS - b.SinceChargeS })
		}},
	{desc("first_crack_due_sd_seconds", "Standard deviation of that. Large: the coffee is not known yet."),
		func(v *record.View, _ *record.Scan) record.Number {
			return ofBatch(v, func(b *record.BatchView) record.Number { return b.CrackDueSdS })
		}},
	{desc("development_seconds", "Time since first crack, to the drop or to now. Missing before first crack was noted."),
		func(v *record.View, _ *record.Scan) record.Number {
			return ofBatch(v, func(b *record.BatchView) record.Number { return b.DevelopmentS })
		}},
	{desc("development_ratio", "That time as a share of the roast. Missing before first crack was noted."),
		func(v *record.View, _ *record.Scan) record.Number {
			return ofBatch(v, func(b *record.BatchView) record.Number { return b.DevelopmentRatio })
		}},
	{desc("learned_rate_kelvin_per_second", "What earlier batches add to the wanted rate of rise. Missing while the bean loop does not lead."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Bean.LearnedKPerS }},
	{desc("mass_loss_ratio", "Estimated loss as share of the green mass. Missing while no estimate is made."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Bean.Loss }},
	{desc("moisture_dry_basis_ratio", "Estimated mass of water per mass of dry matter. Missing while no estimate is made."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Bean.MoistureDB }},
	{desc("drum_skin_speed_meters_per_second", "Speed of the drum's skin from the shaft. Missing while not measured; far from the set one: belt, chain or coupling slips."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Drum.MeasuredMMPerS / 1000 }},
	{desc("drum_skin_speed_set_meters_per_second", "Wanted speed of the drum's skin."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Drum.SetMMPerS / 1000 }},
	{desc("air_flow_grams_per_second", "Air mass flow, measured or expected at the blower's frequency. Far below the set one: filter, cyclone or duct is blocked."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Drum.FlowKgPerH / 3.6 }},
	{desc("air_flow_set_grams_per_second", "Wanted air mass flow."),
		func(v *record.View, _ *record.Scan) record.Number { return v.Drum.FlowSetKgPerH / 3.6 }},
	{desc("heat_permitted", "1 while the gate permits heat. 0 is right while cold, held or tripped."),
		func(v *record.View, _ *record.Scan) record.Number { return asNumber(v.Safety.HeatPermitted) }},
	{desc("tripped", "1 while a trip stands. It needs a person at the machine."),
		func(v *record.View, _ *record.Scan) record.Number { return asNumber(v.Safety.Tripped) }},
	{desc("standing_causes", "Causes that stand or are latched, trips and warnings together. Above 0: look at the machine's alarms."),
		func(_ *record.View, s *record.Scan) record.Number { return record.Number(s.Safety.NumStanding) }},
	{desc("alarms_unacknowledged", "Alarms that nobody has acknowledged. Above 0 for long: nobody looks after the machine."),
		func(_ *record.View, s *record.Scan) record.Number {
			n := 0
			for i := range s.Alarms.List[:s.Alarms.Num] {
				if s.Alarms.List[i].State.Unacknowledged() {
					n++
				}
			}
			return record.Number(n)
		}},
	{desc("alarm_flood", "1 while alarms come faster than one person can see to them: from 10 in ten minutes until there are fewer than 5."),
		func(_ *record.View, s *record.Scan) record.Number { return asNumber(s.Alarms.Flood) }},
	{desc("scan_period_seconds", "Period that the scan loop keeps."),
		func(_ *record.View, s *record.Scan) record.Number { return record.Number(s.Timing.PeriodS) }},
	{desc("scan_read_seconds", "Time that the last scan spent reading the buses. Near the period: too many points or too slow a bus."),
		func(_ *record.View, s *record.Scan) record.Number { return record.Number(s.Timing.ReadS) }},
	{desc("scan_step_seconds", "Time that the last scan spent deciding."),
		func(_ *record.View, s *record.Scan) record.Number { return record.Number(s.Timing.StepS) }},
	{desc("scan_write_seconds", "Time that the last scan spent writing to the buses."),
		func(_ *record.View, s *record.Scan) record.Number { return record.Number(s.Timing.WriteS) }},
}

// counters count from the start of the daemon.
var counters = []struct {
	desc *prometheus.Desc
	of   func(*snapshot) uint64
}{
	{desc("scans_total", "Scans made. Not rising: the scan loop stands."), func(s *snapshot) uint64 { return s.scans }},
	{desc("scan_overruns_total", "Scan periods that were missed because a scan ran beyond its own. Rising: the computer or a bus is too slow."), func(s *snapshot) uint64 { return s.scan.Timing.Overruns }},
	{desc("events_lost_total", "Events that found no room in their scan."), func(s *snapshot) uint64 { return s.scan.Timing.EventsLost }},
	{desc("alarms_total", "Alarms that came, trips and warnings together. More than some six an hour over days: too many, or limits that are set too close."), func(s *snapshot) uint64 { return s.scan.Alarms.Activations }},
	{desc("trips_total", "Trips. Each has stopped the heat; the journal says why."), func(s *snapshot) uint64 { return s.scan.Safety.Trips }},
}

// ofBatch is a number of the batch; unknown while there is none.
func ofBatch(v *record.View, of func(*record.BatchView) record.Number) record.Number {
	if v.Batch == nil {
		return record.Unknown
	}
	return of(v.Batch)
}

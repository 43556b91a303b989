package campaign

import (
	"slices"
	"time"

	"drumwright/control/plant/registers"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Table lists every row, in the order of the hazards. Limits are estimates to
// be replaced by measurements on a real machine. The slice is the caller's.
func Table() []Row {
	return slices.Concat(sensorRows, heatRows, airRows, drumRows, busRows, computerRows, operatorRows, overheatRows, powerRows)
}

func fault(names ...string) []Act {
	var acts []Act
	for _, n := range names {
		acts = append(acts, Act{Fault: n})
	}
	return acts
}

// restS is how long the machine stands with a fault before it is asked to warm:
// what is to be seen at rest shows only when drum and blower have long stood.
const restS = 40.0

// start asks for warming when the machine has stood for restS.
func start(after []Act) []Act {
	return acts(after, []Act{say(restS, record.LoadRecipe, true), say(restS, record.StartWarming, true)})
}

func say(afterS float64, k record.Kind, local bool) Act {
	who := "network"
	if local {
		who = "Ada"
	}
	return Act{AfterS: afterS, Say: &record.Command{Kind: k, Who: who, Local: local}}
}

// byHand puts a loop in manual at a share of power, at the machine.
func byHand(loop string, share float64) Act {
	return Act{Say: &record.Command{Kind: record.SetManual, Loop: loop, Value: share, Who: "Ada", Local: true}}
}

// later moves acts to some time after the first.
func later(s float64, acts ...Act) []Act {
	for i := range acts {
		acts[i].AfterS += s
	}
	return acts
}

func acts(a ...[]Act) []Act { return slices.Concat(a...) }

func one(p ...string) []string { return p }

func at(p ...Phase) []Phase { return p }

func needs(i ...point.Input) []point.Input { return i }

var sensorRows = []Row{
	{Hazard: "H01", Name: "bean probe open", By: fault("bean_probe_open"), At: heated,
		Cause: one("bean_probe"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1.5},
	{Hazard: "H02", Name: "bean probe shorted", By: fault("bean_probe_short"), At: at(Mid, Late),
		Cause: one("bean_short", "bean_plunge"), State: "S1", Drum: Kept, Air: Kept, LimitS: 6, BeanRiseK: 6},
	{Hazard: "H03", Name: "bean probe frozen", By: fault("bean_probe_frozen"), At: roast,
		Cause: one("bean_frozen"), State: "S1", Drum: Kept, Air: Kept, LimitS: 11},
	// 20 K in 300 s: 18 K are reached after 270 s.
	{Hazard: "H04", Name: "bean probe drifts low", By: fault("bean_probe_drift"), At: at(Mid),
		Cause: one("beans_apart", "bean_off_model"), State: "S1", Drum: Kept, Air: Kept, LimitS: 270},
	// The charge comes some 10 s after the machine is ready.
	{Hazard: "H05", Name: "bean and exhaust probes exchanged", By: fault("bean_exhaust_swapped"), At: at(Ready), Needs: needs(point.Exhaust),
		Cause: one("bean_exhaust_swapped"), State: "S1", Drum: Kept, Air: Kept, LimitS: 60, RunOnS: 15},
	{Hazard: "H06", Name: "bean probe out of the bed", By: fault("bean_probe_out_of_bed"), At: at(Mid, Late), Needs: needs(point.Exhaust),
		Cause: one("beans_gain_heat", "bean_out_of_bed", "bean_off_model", "beans_apart"), State: "S1", Drum: Kept, Air: Kept, LimitS: 31, RunOnS: gasFeltS, BeanC: 245},
	{Hazard: "H07", Name: "inlet probe counts in °F, start", By: start(fault("inlet_scaled_f")), At: at(Cold),
		Want: Refuses, ForS: restS + 60},
	{Hazard: "H08", Name: "skin thermocouple the wrong way round", By: fault("skin_reversed"), At: at(Mid), Needs: needs(point.Ambient),
		Cause: one("probe_reversed", "skin_probe"), State: "S1", Drum: Kept, Air: Kept, LimitS: 31, SkinC: 320},
	{Hazard: "H08", Name: "skin thermocouple the wrong way round, cold", By: fault("skin_reversed"), At: at(Warming), Needs: needs(point.Ambient),
		Cause: one("probe_reversed", "skin_probe"), State: "S1", Drum: Kept, Air: Kept, LimitS: 31, RunOnS: coldSkinS, SkinC: 320},
	{Hazard: "H09", Name: "every fifth sample of the bean probe 30 °C high", By: fault("bean_probe_noise"), At: at(Warming, Mid),
		Cause: one("probe_swamped"), State: "S1", Drum: Kept, Air: Kept, LimitS: 60},
	{Hazard: "H10", Name: "cold junction 30 °C high", By: fault("converter_shift"), At: heated,
		Cause: one("converter_shift"), State: "S1", Drum: Kept, Air: Kept, LimitS: 2},
	{Hazard: "H12", Name: "skin sensor off the skin", By: fault("skin_probe_loose"), At: at(Warming),
		Cause: one("skin_not_rising"), State: "S1", Drum: Kept, Air: Kept, LimitS: 121, SkinC: 320},
	{Hazard: "H11", Name: "exhaust probe open", By: fault("exhaust_probe_open"), At: heated, Needs: needs(point.Exhaust),
		Want: Warns, Cause: one("exhaust_probe"), Drum: Kept, Air: Kept, LimitS: 1.5},
	{Hazard: "H11", Name: "exhaust probe open, then the bean probe", By: acts(fault("exhaust_probe_open"), later(5, fault("bean_probe_open")...)), At: roast,
		Cause: one("bean_probe"), State: "S1", Drum: Kept, Air: Kept, LimitS: 5 + 1.5},
	{Hazard: "H12", Name: "skin sensor open", By: fault("skin_probe_open"), At: heated,
		Cause: one("skin_probe"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1.5},
	{Hazard: "H12", Name: "inlet probe open", By: fault("inlet_probe_open"), At: heated,
		Cause: one("inlet_probe"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1.5},
	{Hazard: "H13", Name: "high limit open", By: fault("high_limit_open"), At: heated, Needs: needs(point.HighLimitHealthy),
		Cause: one("high_limit"), State: "S1", Drum: Kept, Air: Kept, LimitS: 0.3},
}

// A cold skin under full panels needs a while to rise by anything.
const coldSkinS = 60.0

// The bare bean probe needs a while to feel gas only.
const gasFeltS = 75.0

var heatRows = []Row{
	{Hazard: "H15", Name: "panels' switch welded, not asked", By: acts([]Act{byHand("base", 0)}, later(5, fault("radiant_stuck_on")...)), At: heated, Needs: needs(point.RadiantCurrent),
		Cause: one("radiant_current_unasked"), State: "S1", Drum: Kept, Air: Kept, LimitS: 5 + 2.2, SkinRiseK: 6},
	// While heat is asked for it is no fault to see: the loop must first have
	// taken it all away, or the skin have passed its limit.
	{Hazard: "H15", Name: "panels' switch welded, asked", By: fault("radiant_stuck_on"), At: heated, Needs: needs(point.RadiantCurrent),
		Cause: one("radiant_current_unasked", "radiant_not_following", "skin_high", "skin_heats_unasked", "limit_probe_high", "exhaust_high", "bean_high"), State: "S1", Drum: Kept, Air: Kept, LimitS: 400},
	{Hazard: "H16", Name: "air heater's switch welded, not asked", By: acts([]Act{byHand("air", 0)}, later(5, fault("air_heater_stuck_on")...)), At: heated, Needs: needs(point.AirHeaterCurrent),
		Cause: one("air_current_unasked"), State: "S1", Drum: Kept, Air: Kept, LimitS: 5 + 1.2},
	{Hazard: "H17", Name: "contactor welded, then a trip", By: acts(fault("contactor_welded"), later(1, fault("bean_probe_open")...)), At: heated, Needs: needs(point.ContactorClosed),
		Cause: one("bean_probe"), Also: one("contactor_stuck"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1 + 1.5},
	{Hazard: "H17", Name: "contactor welded, then the drop", By: fault("contactor_welded"), At: at(Drop), Needs: needs(point.ContactorClosed),
		Cause: one("contactor_stuck"), State: "S1", Drum: Kept, Air: Kept, LimitS: 0.5},
	{Hazard: "H18", Name: "air heater and contactor welded, then a trip", By: acts(fault("contactor_welded", "air_heater_stuck_on"), later(1, fault("cover_open")...)), At: roast, Needs: needs(point.AirHeaterCurrent, point.ContactorClosed),
		Want: Alarms, Cause: one("heat_not_removed"), Also: one("cover", "contactor_stuck"), Drum: Kept, Air: Kept, LimitS: 1.2 + 0.5 + 1.5},
	{Hazard: "H18", Name: "panels and contactor welded, then a trip", By: acts(fault("contactor_welded", "radiant_stuck_on"), later(1, fault("cover_open")...)), At: at(Mid), Needs: needs(point.RadiantCurrent, point.ContactorClosed),
		Want: Alarms, Cause: one("heat_not_removed"), Also: one("cover", "contactor_stuck"), Drum: Kept, Air: Kept, LimitS: 1.2 + 0.5 + 1.5},
	{Hazard: "H19", Name: "air heater broken", By: fault("air_heater_broken"), At: at(Warming, Mid), Needs: needs(point.AirHeaterCurrent),
		Want: Warns, Cause: one("air_open"), Drum: Kept, Air: Kept, LimitS: 3.5},
	{Hazard: "H19", Name: "one of three elements broken", By: acts([]Act{byHand("air", 0.6)}, later(5, fault("air_heater_weak")...)), At: at(Mid), Needs: needs(point.AirHeaterCurrent),
		Want: Warns, Cause: one("air_open"), Drum: Kept, Air: Kept, LimitS: 5 + 3.5},
	{Hazard: "H19", Name: "panels broken", By: acts([]Act{byHand("base", 0.8)}, later(5, fault("radiant_broken")...)), At: at(Warming, Mid), Needs: needs(point.RadiantCurrent),
		Want: Warns, Cause: one("radiant_open"), Drum: Kept, Air: Kept, LimitS: 5 + 3.5},
	{Hazard: "H20", Name: "half a wave to the air heater", By: acts([]Act{byHand("air", 0.8)}, later(5, fault("air_heater_half_wave")...)), At: at(Warming, Mid), Needs: needs(point.AirHeaterCurrent),
		Cause: one("air_half_wave"), State: "S1", Drum: Kept, Air: Kept, LimitS: 5 + 2.5},
	{Hazard: "H20", Name: "half a wave to the panels", By: acts([]Act{byHand("base", 1)}, later(5, fault("radiant_half_wave")...)), At: at(Warming, Mid), Needs: needs(point.RadiantCurrent),
		Cause: one("radiant_half_wave"), State: "S1", Drum: Kept, Air: Kept, LimitS: 5 + 2.5},
	// Heat comes some 10 s after warming is asked for; a pulse would last 5 s.
	{Hazard: "H21", Name: "outputs of the heaters exchanged, start", By: start(fault("heater_outputs_swapped")), At: at(Cold), Needs: needs(point.AirHeaterCurrent, point.RadiantCurrent),
		Cause: one("heaters_exchanged", "air_current_unasked", "radiant_current_unasked"), State: "S1", Drum: Kept, Air: Kept, LimitS: restS + 10 + 5},
	{Hazard: "H22", Name: "air heater's output frozen at 80 %", By: acts([]Act{byHand("air", 0.8)}, later(5, fault("air_output_frozen")...), later(5.5, byHand("air", 0.2))), At: at(Warming, Mid), Needs: needs(point.AirHeaterCurrent),
		Cause: one("air_not_following"), State: "S1", Drum: Kept, Air: Kept, LimitS: 5 + 10.5},
	{Hazard: "H22", Name: "panels' output frozen at 80 %", By: acts([]Act{byHand("base", 0.8)}, later(5, fault("radiant_output_frozen")...), later(5.5, byHand("base", 0.2))), At: at(Warming, Mid), Needs: needs(point.RadiantCurrent),
		Cause: one("radiant_not_following"), State: "S1", Drum: Kept, Air: Kept, LimitS: 5 + 10.5},
	{Hazard: "H23", Name: "cabinet becomes hot", By: fault("cabinet_hot"), At: at(Early), Needs: needs(point.Cabinet),
		Since: func(m *profiles.Machine) (point.Input, float64) {
			return point.Cabinet, float64(m.Limits.CabinetHigh.At)
		},
		Cause: one("cabinet_high"), State: "S1", Drum: Kept, Air: Kept, LimitS: 10.5},
}

// The air dies away below what proves it before anything can be seen.
const airDiesS = 1.5

var airRows = []Row{
	{Hazard: "H25", Name: "blower moves no air", By: fault("air_lost"), At: all,
		Cause: one("air_lost"), State: "S4", Drum: Kept, Air: Stopped, LimitS: 1.0, RunOnS: airDiesS, ElementRiseK: 60},
	{Hazard: "H25", Name: "blower drive trips", By: fault("blower_drive_fault"), At: all, Needs: needs(point.BlowerStatus),
		Cause: one("blower_drive"), State: "S4", Drum: Kept, Air: Stopped, Delay: func(l *profiles.Limits) float64 { return float64(l.DriveFaultS) }, ElementRiseK: 60},
	// One part in a hundred each second: 40 % are missing after 40 s.
	{Hazard: "H26", Name: "filter blocks", By: fault("filter_blocking"), At: heated, Needs: needs(point.AirFlow),
		Cause: one("air_short"), State: "S4", Drum: Kept, Air: Kept, LimitS: 42 + 3.5, RunOnS: airDiesS},
	{Hazard: "H27", Name: "air proving stuck closed, start", By: start(fault("proving_stuck_closed")), At: at(Cold), Needs: needs(point.AirProving),
		Want: Refuses, ForS: restS + 60},
	{Hazard: "H27", Name: "air proving stuck closed, then no air", By: acts(fault("proving_stuck_closed"), later(1, fault("air_lost")...)), At: roast, Needs: needs(point.AirFlow),
		Cause: one("air_lost"), State: "S4", Drum: Kept, Air: Stopped, LimitS: 1 + 1.0, RunOnS: airDiesS, ElementRiseK: 60},
	{Hazard: "H28", Name: "air proving stuck open, start", By: start(fault("proving_stuck_open")), At: at(Cold), Needs: needs(point.AirProving),
		Want: Refuses, ForS: restS + 60},
	{Hazard: "H28", Name: "air proving stuck open", By: fault("proving_stuck_open"), At: roast, Needs: needs(point.AirProving),
		Cause: one("air_lost"), State: "S4", Drum: Kept, Air: Kept, LimitS: 1.0},
	{Hazard: "H29", Name: "duct lets through half", By: fault("air_weak"), At: heated, Needs: needs(point.AirFlow),
		Cause: one("air_short"), State: "S4", Drum: Kept, Air: Kept, LimitS: 5.5},
	{Hazard: "H30", Name: "blower backwards, start", By: start(fault("blower_reversed")), At: at(Cold), Needs: needs(point.AirFlow),
		Want: Refuses, ForS: restS + 60},
	{Hazard: "H31", Name: "recipe with less air than the heater needs", Want: Refuses, At: at(Cold),
		File: &File{"recipes/harbour-medium.yaml", "flow: 39.6 kg/h", "flow: 8 kg/h"}},
	{Hazard: "H32", Name: "air heater full by hand", By: []Act{byHand("air", 1)}, At: at(Warming, Mid),
		Since: func(m *profiles.Machine) (point.Input, float64) {
			return point.InletAir, float64(m.Limits.InletHigh.At)
		},
		Cause: one("inlet_high"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1.2, InletC: 365},
	{Hazard: "H32", Name: "air heater's switch welded, asked", By: fault("air_heater_stuck_on"), At: heated,
		Cause: one("inlet_high", "air_current_unasked", "air_heats_unasked", "air_not_following", "element_high", "exhaust_high", "high_limit"), State: "S1", Drum: Kept, Air: Kept, LimitS: 70, InletC: 365},
	{Hazard: "H33", Name: "air stuck at three tenths", By: fault("air_stuck"), At: heated, Needs: needs(point.AirFlow),
		Cause: one("air_short", "air_lost"), State: "S4", Drum: Kept, Air: Kept, LimitS: 5.2, RunOnS: airDiesS},
}

// The drum takes a moment to run out, and its last pulse may have come up to a
// pulse period before.
const drumRunsOutS = 0.4

// Panels that glow go on heating the skin over them for a minute or two.
const storedHeatS = 120.0

var drumRows = []Row{
	{Hazard: "H34", Name: "drum stalls", By: fault("drum_stall"), At: all,
		Cause: one("drum_stall"), State: "S3", Drum: Stopped, Air: Kept, LimitS: 3.3, RunOnS: drumRunsOutS, SkinRiseK: 8, TailS: storedHeatS},
	{Hazard: "H35", Name: "belt slips by a quarter", By: fault("belt_slip"), At: heated,
		Want: Warns, Cause: one("drum_slow"), Drum: Kept, Air: Kept, LimitS: 5.5, RunOnS: 3},
	{Hazard: "H36", Name: "drum drive trips", By: fault("drum_drive_fault"), At: all,
		Cause: one("drum_drive"), State: "S3", Drum: Stopped, Air: Kept, LimitS: 0.6},
	{Hazard: "H37", Name: "drum drive silent", By: []Act{{Silence: needs(point.DrumStatus)}}, At: heated, Needs: needs(point.DrumStatus),
		Cause: one("unit_lost"), State: "S1", Drum: Kept, Air: Kept, LimitS: 2.2},
	{Hazard: "H37", Name: "blower drive silent", By: []Act{{Silence: needs(point.BlowerStatus)}}, At: heated, Needs: needs(point.BlowerStatus),
		Cause: one("unit_lost"), State: "S1", Drum: Kept, Air: Kept, LimitS: 2.2},
	{Hazard: "H38", Name: "no shaft pulses", By: fault("drum_pulses_lost"), At: all, Needs: needs(point.DrumPulses),
		Cause: one("drum_stall"), State: "S3", Drum: Stopped, Air: Kept, LimitS: 3.3},
	{Hazard: "H39", Name: "shaft sensor hums, start", By: start(fault("noise_pulses")), At: at(Cold), Needs: needs(point.DrumPulses),
		Want: Refuses, ForS: restS + 60},
	{Hazard: "H39", Name: "shaft sensor hums and hides a stall", By: acts(fault("noise_pulses"), later(1, fault("drum_stall")...)), At: heated, Needs: needs(point.DrumPulses),
		Cause: one("drum_fast", "drum_stall"), State: "S3", Drum: Stopped, Air: Kept, LimitS: 1 + 3.3, RunOnS: drumRunsOutS},
	{Hazard: "H40", Name: "drum too fast", By: fault("drum_overspeed"), At: heated, Needs: needs(point.DrumPulses),
		Cause: one("drum_fast"), State: "S3", Drum: Stopped, Air: Kept, LimitS: 2.2, RunOnS: 2},
	{Hazard: "H42", Name: "drum motor labours", By: fault("drum_labours"), At: heated, Needs: needs(point.DrumCurrent), If: func(m *profiles.Machine) bool { return m.Drum.FullA > 0 },
		Want: Warns, Cause: one("drum_load_high"), Drum: Kept, Air: Kept, LimitS: 5.5},
	{Hazard: "H41", Name: "start with the cover open", By: start(fault("cover_open")), At: at(Cold), Needs: needs(point.CoverClosed),
		Want: Refuses, Drum: Stopped, ForS: restS + 15},
	{Hazard: "H41", Name: "start from the network", By: []Act{say(0, record.LoadRecipe, true), say(0.5, record.StartWarming, false)}, At: at(Cold),
		Want: Refuses, Drum: Stopped, ForS: 15},
}

var busRows = []Row{
	{Hazard: "H43", Name: "1 % of replies lost or corrupt", By: []Act{{Wire: registers.WireFaults{Share: 0.01, Seed: 1}}}, At: roast,
		Want: Bears, Drum: Kept, Air: Kept, ForS: 60},
	{Hazard: "H44", Name: "1 in 50 replies too late", By: []Act{{Wire: registers.WireFaults{LateEvery: 50, LateBy: 250 * time.Millisecond}}}, At: at(Mid),
		Want: Bears, Drum: Kept, Air: Kept, ForS: 20},
	{Hazard: "H45", Name: "1 in 20 replies from another unit", By: []Act{{Wire: registers.WireFaults{ForeignEvery: 20}}}, At: at(Mid), Serial: true,
		Want: Bears, Drum: Kept, Air: Kept, ForS: 20},
	{Hazard: "H46", Name: "another device answers at the address", By: fault("device_exchanged"), At: heated,
		Cause: one("device_wrong"), State: "S1", Drum: Kept, Air: Kept, LimitS: 60},
	{Hazard: "H47", Name: "constants of another register map, start", By: start(fault("device_exchanged")), At: at(Cold),
		Want: Refuses, ForS: restS + 60},
	{Hazard: "H48", Name: "writes to the air heater acknowledged and ignored", By: acts(fault("write_ignored"), later(1, byHand("air", 0.05))), At: heated,
		Cause: one("write_not_applied"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1 + 1.7},
	// Where one request writes several outputs, those that are seen otherwise may be
	// missed first.
	{Hazard: "H48", Name: "writes to the air heater refused", By: acts(fault("write_refused"), later(1, byHand("air", 0.05))), At: heated,
		Change: func(m *profiles.Machine, _ *profiles.Recipe) { m.HasBack[point.AirHeaterPower] = false }, // or that shows it first
		Cause:  one("output_lost", "write_not_applied", "contactor_open"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1 + 2 + 0.2, Window: true},
	{Hazard: "H49", Name: "every unit silent", By: []Act{{Silence: everyUnit}}, At: heated, Needs: everyUnit,
		Cause: one("unit_lost"), State: "S1", Drum: Kept, Air: Kept, LimitS: 2.0},
	{Hazard: "H51", Name: "measuring module silent", By: fault("unit_silent"), At: heated,
		Cause: one("unit_lost"), State: "S1", Drum: Kept, Air: Kept, LimitS: 2.2},
}

// everyUnit has one point of each unit of the shipped machines.
var everyUnit = needs(point.Bean, point.DrumStatus, point.BlowerStatus, point.ContactorClosed, point.AirFlow)

var computerRows = []Row{
	{Hazard: "H53", Name: "the scan hangs for 5 s", By: []Act{{HangS: 5}}, At: heated,
		Cause: one("scan_late", "contactor_open", "unit_lost"), State: "S1", Drum: Kept, Air: Kept, Relay: true},
	{Hazard: "H54", Name: "a scan late by 0.3 s", By: []Act{{HangS: 0.3}}, At: at(Mid),
		Want: Bears, Drum: Kept, Air: Kept, ForS: 20},
	{Hazard: "H57", Name: "the computer stands still for 30 s", By: []Act{{HangS: 30}}, At: at(Mid, Late),
		Cause: one("scan_late", "contactor_open", "unit_lost"), State: "S1", Drum: Kept, Air: Kept, Relay: true, ForS: 60},
	{Hazard: "H63", Name: "reset, start, resume and manual heat from the network", By: acts(fault("cover_open"), later(5, []Act{{Clear: "cover_open"},
		say(1, record.ResetTrip, false), say(1, record.StartWarming, false), say(1, record.Resume, false),
		{AfterS: 1, Say: &record.Command{Kind: record.SetManual, Loop: "air", Value: 1, Who: "network"}}}...)), At: at(Mid), Needs: needs(point.CoverClosed),
		Want: Refuses, Drum: Kept, Air: Kept, ForS: 20},
	// A foreign write that puts an on/off heater back to what it was before its
	// window switched looks like a write that was lost on the line; the next
	// switching tells them apart.
	{Hazard: "H66", Name: "another master writes to the air heater", By: fault("foreign_master"), At: heated,
		Cause: one("foreign_write", "write_not_applied"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1.1, Window: true},
}

var operatorRows = []Row{
	{Hazard: "H67", Name: "recipe with °F written as °C", Want: Refuses, At: at(Cold), File: &File{"recipes/harbour-medium.yaml", "bean: 209 °C", "bean: 408 °C"}},
	{Hazard: "H67", Name: "recipe without units", Want: Refuses, At: at(Cold), File: &File{"recipes/harbour-medium.yaml", "bean: 209 °C", "bean: 209"}},
	{Hazard: "H68", Name: "recipe with a temperature that is no number", Want: Refuses, At: at(Cold), File: &File{"recipes/harbour-medium.yaml", "bean: 209 °C", "bean: .nan °C"}},
	{Hazard: "H68", Name: "recipe with a negative mass", Want: Refuses, At: at(Cold), File: &File{"recipes/harbour-medium.yaml", "green: 1 kg", "green: -1 kg"}},
	{Hazard: "H68", Name: "recipe with times out of order", Want: Refuses, At: at(Cold), File: &File{"recipes/harbour-medium.yaml", "at: 4 min,", "at: 2 min,"}},
	{Hazard: "H68", Name: "recipe without an end", Want: Refuses, At: at(Cold), File: &File{"recipes/harbour-medium.yaml", "latest: 14 min", "latest: 400 min"}},
	{Hazard: "H69", Name: "charged cold", By: []Act{{Again: true}, say(0, record.Charged, true)}, At: at(Warming), NeverDrop: true,
		Want: Warns, Cause: one("cold_charge"), Drum: Kept, Air: Kept, LimitS: 5},
	{Hazard: "H70", Name: "nobody drops", By: []Act{{}}, At: at(Late), NeverDrop: true,
		Change: func(_ *profiles.Machine, r *profiles.Recipe) { r.Drop.LatestS = 14 * 60 },
		Want:   HeatEnds, Drum: Kept, Air: Kept, LimitS: 14*60 - lateS + 1, ForS: 14*60 - lateS + 240, BeanC: 248},
	{Hazard: "H70", Name: "nobody drops, and the recipe waits for a person", By: []Act{{}}, At: at(Late), NeverDrop: true,
		Change: func(_ *profiles.Machine, r *profiles.Recipe) { r.Drop.LatestS, r.Drop.Operator = 14*60, true },
		Want:   HeatEnds, Drum: Kept, Air: Kept, LimitS: 14*60 - lateS + 1, ForS: 14*60 - lateS + 240, BeanC: 248},
	{Hazard: "H71", Name: "charged twice", By: []Act{{Again: true}}, At: at(Mid),
		Want: Warns, Cause: one("double_charge"), Drum: Kept, Air: Kept, LimitS: 20},
	{Hazard: "H72", Name: "cover opened", By: fault("cover_open"), At: heated, Needs: needs(point.CoverClosed),
		Cause: one("cover"), State: "S1", Air: Kept, LimitS: 1.2},
	{Hazard: "H73", Name: "warm and forgotten", By: []Act{{}}, At: at(Ready), NeverCharge: true,
		Want: HeatEnds, Drum: Kept, Air: Kept, LimitS: 45*60 + 1, ForS: 45*60 + 20},
	{Hazard: "H74", Name: "drop asked again while the tray is full", By: []Act{say(1, record.DropNow, true), say(1, record.DropNow, false)}, At: at(Cooling),
		Want: Refuses, Drum: Kept, Air: Kept, ForS: 10},
	{Hazard: "H76", Name: "bean limit raised to 300 °C", Want: Refuses, At: at(Cold), File: &File{"machines/heron-1000.yaml", "at: 245 °C", "at: 300 °C"}},
	{Hazard: "H76", Name: "skin limit raised to 400 °C", Want: Refuses, At: at(Cold), File: &File{"machines/heron-1000.yaml", "skin_high: {at: 300 °C", "skin_high: {at: 400 °C"}},
}

var overheatRows = []Row{
	// A site may set its limits lower; an ordinary roast then crosses them.
	{Hazard: "H77", Name: "beans above a limit of 215 °C", By: []Act{byHand("air", 0.8)}, At: at(Late), NeverDrop: true,
		Change: func(m *profiles.Machine, r *profiles.Recipe) {
			l := &m.Limits
			l.BeanHigh.At, l.BeanHeatOff, l.InletHigh.At, l.ElementHigh.At, l.ExhaustHigh.At, r.Drop.Operator = 215, 214.9, 450, 800, 300, true
		},
		Since: func(m *profiles.Machine) (point.Input, float64) { return point.Bean, float64(m.Limits.BeanHigh.At) },
		Cause: one("bean_high"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1.2},
	// By hand, for the bean loop itself keeps away from the limit.
	{Hazard: "H78", Name: "exhaust above a limit of 215 °C", By: []Act{byHand("air", 0.85)}, At: at(Mid), Needs: needs(point.Exhaust),
		Change: func(m *profiles.Machine, _ *profiles.Recipe) {
			m.Limits.ExhaustHigh.At, m.Limits.InletHigh.At, m.Limits.ElementHigh.At = 215, 450, 800
		},
		Since: func(m *profiles.Machine) (point.Input, float64) {
			return point.Exhaust, float64(m.Limits.ExhaustHigh.At)
		},
		Cause: one("exhaust_high"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1.2},
	{Hazard: "H79", Name: "skin above a limit of 190 °C", By: []Act{{}}, At: at(Mid),
		Change: func(m *profiles.Machine, _ *profiles.Recipe) { m.Limits.SkinHigh.At = 190 },
		Since:  func(m *profiles.Machine) (point.Input, float64) { return point.DrumSkin, float64(m.Limits.SkinHigh.At) },
		Cause:  one("skin_high"), State: "S1", Drum: Kept, Air: Kept, LimitS: 2.2},
	// The loop takes heat away first; what is left is heat that nobody gave.
	{Hazard: "H81", Name: "beans burn while they roast", By: fault(fire), At: roast,
		Cause: one("bean_fire", "beans_gain_heat", "beans_heat_themselves", "fire_in_drum", "bean_high", "bean_rise", "exhaust_high", "bean_off_model"), Drum: Kept, LimitS: 60},
	{Hazard: "H81", Name: "beans burn while they wait for the drop", By: fault(fire), At: at(Drop), NeverDrop: true,
		Cause: one("bean_fire", "beans_heat_themselves", "fire_in_drum"), State: "S2", Drum: Kept, Air: Stopped, LimitS: 60},
	{Hazard: "H80", Name: "fire in the chaff collector", By: fault("collector_fire"), At: all, Needs: needs(point.Collector),
		Cause: one("collector_rise", "collector_high"), State: "S2", Drum: Kept, Air: Stopped, LimitS: 2.3, RunOnS: slopeS},
	{Hazard: "H81", Name: "fire button", By: []Act{{Fire: true}}, At: all, Needs: needs(point.FireButton),
		Cause: one("fire_button"), State: "S2", Drum: Kept, Air: Stopped, LimitS: 0.2},
	{Hazard: "H82", Name: "beans smoulder in the tray", By: acts([]Act{{}}, later(70, fault("tray_smoulder")...)), At: at(Cooling), Needs: needs(point.CoolingTray),
		Cause: one("tray_rise", "tray_hot"), State: "S2", Drum: Kept, LimitS: 70 + 10.5, RunOnS: slopeS + 3}, // the probe lags
	{Hazard: "H83", Name: "reset asked early after a fire", By: []Act{{Fire: true}, say(14*60, record.ResetTrip, true)}, At: at(Mid), Needs: needs(point.FireButton),
		Want: Refuses, ForS: 14*60 + 10},
	{Hazard: "H84", Name: "cooling fan does not turn", By: fault("cooling_fan_failed"), At: at(Drop), Needs: needs(point.CoolingFanRunning),
		Cause: one("cooling_fan"), State: "S1", Drum: Kept, Air: Kept, LimitS: 3.2},
	// The recipe ends a minute on; the fan starts 20 s before.
	{Hazard: "H84", Name: "cooling fan dead before the drop", By: fault("cooling_fan_failed"), At: at(Mid), Needs: needs(point.CoolingFanRunning),
		Change: func(_ *profiles.Machine, r *profiles.Recipe) { r.Drop.LatestS = midS + 60 },
		Cause:  one("cooling_fan"), State: "S1", Drum: Kept, Air: Kept, LimitS: 60 - 20 + 3.5},
	{Hazard: "H85", Name: "carbon monoxide alarm", By: fault("co_alarm"), At: all, Needs: needs(point.CarbonMonoxideAlarm),
		Cause: one("carbon_monoxide"), State: "S5", Drum: Kept, Air: Kept, LimitS: 1.2},
}

// Rates of change are taken over 3 s.
const slopeS = 3.0

var powerRows = []Row{
	{Hazard: "H86", Name: "emergency stop", By: fault("estop_pressed"), At: all, Needs: needs(point.EmergencyStopHealthy),
		Cause: one("emergency_stop"), State: "S6", Drum: Stopped, Air: Stopped, LimitS: 0.2},
	{Hazard: "H87", Name: "emergency stop chain broken", By: fault("estop_pressed"), At: at(Mid), Needs: needs(point.EmergencyStopHealthy),
		Cause: one("emergency_stop"), State: "S6", Drum: Stopped, Air: Stopped, LimitS: 0.2},
	{Hazard: "H90", Name: "one phase lost", By: fault("phase_lost"), At: heated, Needs: needs(point.PhasesHealthy),
		Cause: one("phase_lost"), State: "S1", Drum: Kept, Air: Kept, LimitS: 1.2},
	{Hazard: "H91", Name: "supply gone for a second", By: acts(fault("supply_lost"), []Act{{AfterS: 1, Clear: "supply_lost"}}), At: heated, Needs: needs(point.SupplyHealthy),
		Cause: one("supply_lost", "mains_low", "contactor_open"), LimitS: 1.2},
	{Hazard: "H92", Name: "all power gone", By: fault("supply_lost"), At: roast, Needs: needs(point.SupplyHealthy),
		Cause: one("mains_low", "contactor_open", "supply_lost"), Also: one("supply_lost"), Drum: Stopped, Air: Stopped, LimitS: 1, RunOnS: drumRunsOutS},
	{Hazard: "H89", Name: "supply sags to 65 %", By: fault("brown_out"), At: heated, Needs: needs(point.MainsVoltage),
		Cause: one("mains_low"), State: "S1", LimitS: 0.6},
	{Hazard: "H89", Name: "supply sags to 80 %", By: fault("mains_low"), At: heated, Needs: needs(point.MainsVoltage),
		Cause: one("mains_low"), State: "S1", Drum: Kept, Air: Kept, LimitS: 0.6},
	// The contacts and every module hang on it; the drives have their own.
	{Hazard: "H93", Name: "24 V control supply gone", By: []Act{{Fault: "control_supply_lost", Silence: everyUnit}}, At: heated, Needs: everyUnit,
		Cause: one("unit_lost", "contactor_open"), State: "S1", Drum: Kept, Air: Kept, LimitS: 0.2},
}

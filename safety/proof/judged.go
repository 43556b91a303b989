package proof

import (
	"fmt"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// judged are tests whose result a person sees, or a qualified person certifies.
func judged(m *profiles.Machine) []entry {
	person := func(id, title, expected string, days int, occasion string, steps ...string) entry {
		return entry{ProofTest: record.ProofTest{ID: id, Title: title, Kind: record.ProofPerson, Expected: expected, Confirm: expected + ".",
			LimitS: record.Unknown, EveryDays: days, Occasion: occasion, Steps: steps}}
	}
	heartbeat := person("heartbeat", "Heartbeat relay", fmt.Sprintf("the contactor opens within %.4g s of the program's standstill and stays open when it goes on", HeartbeatS(m)),
		7, "weekly", "Leave the drum empty and isolate the heaters; warm until the contactor is closed.",
		"Freeze the daemon for five seconds: kill -STOP its process, wait, kill -CONT. Time the contactor by ear or by the relay's lamp.")
	heartbeat.GraceDays, heartbeat.LimitS = shortGrace, record.Number(HeartbeatS(m))
	heartbeat.wants.out = []point.Output{point.Heartbeat, point.HeatEnable}

	watchdog := person("output-watchdog", "Watchdog of the output module", "every heat output of the module is off within 2.2 s of the loss of its bus",
		30, "monthly", "Cold, with the heaters isolated: set both heaters to 10 % by hand.", "Pull the bus plug of the output module and watch its lamps, or a clamp meter on the control side.")
	watchdog.LimitS = 2.2

	drive := person("drive-comms-loss", "Drives without their bus", "both drives go on at their speed and show a warning",
		30, "monthly", "Cold, with drum and blower turning: pull the bus plug of each drive in turn.",
		"Read the communication-loss setting back at each drive and write it in the note.")

	fan := person("cooling-fan", "Cooling fan", "the fan moves at least 80 % of the air that was noted when it was new",
		1, "each day of use", "Let the cooling fan run and compare its current or a vane meter with the noted figure. Write the value in the note.")
	fan.wants.out = []point.Output{point.CoolingFan}

	baseline := person("filter-baseline", "Air flow with a clean filter", "the flow at the fixed speed is noted", 0, "after each cleaning",
		"With filter and collector clean and the machine cold, run the blower at the nominal flow's frequency and write the measured flow in the note.")
	baseline.wants.in = []point.Input{point.AirFlow}

	electrical := person("electrical", "Earth leakage, earthing, terminals, insulation", "a licensed electrician's report by the local code",
		365, "yearly, or as the local code says", "Have it done by a licensed electrician, with the machine isolated. Enter the number and date of the report in the note.")
	electrical.Kind = record.ProofCertificate

	return []entry{heartbeat, watchdog, drive, fan,
		person("thermocouples", "Probes against a reference", "every probe is within 2 K of the reference", 182, "every six months",
			"Hold each probe in melting ice, then in boiling water, corrected for the height of the place; or use a calibrator.",
			"Write each reading in the note, as found and as left."),
		person("probe-identity", "Each probe is the one it says", "only the probe that was warmed moved, for each of them", 0, "after any work on the wiring",
			"Cold: warm each probe by hand and watch whose reading moves."),
		baseline,
		person("co-alarm", "Carbon monoxide alarm", "the alarm of the room sounds on its own test button", 7, "weekly",
			"Press the test button of the alarm. An alarm past its date is replaced."),
		person("power-return", "Return of the mains", "after the power came back nothing heated and nothing moved by itself", 182, "every six months",
			"In warm idle with an empty drum: switch the machine's breaker off, wait ten seconds, switch it on."),
		electrical}
}

package proof

import (
	"fmt"
	"math"

	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Days of grace (estimates, common practice, no source): short for the tests
// whose failure can hurt within seconds.
const (
	shortGrace = 7
	longGrace  = 30
)

// wants is what a machine must have for a test: one of any, all of in and out.
type wants struct {
	any, in []point.Input
	out     []point.Output
}

type entry struct {
	record.ProofTest
	wants wants
}

// reactionS is what a delay may become between fault and permit: the input may
// just have been read, and the output acts with the next scan.
func reactionS(m *profiles.Machine, delay float64) record.Number {
	return record.Number(delay + math.Max(0.2, 2*float64(m.Scan.PeriodS)))
}

// Tests lists the proof tests of a machine, in the order in which they are best
// done: cold ones first. A test for which the machine lacks a role is listed and
// says so.
func Tests(m *profiles.Machine) []record.ProofTest {
	var out []record.ProofTest
	for _, group := range [][]entry{cold(m), warm(m), judged(m)} {
		for _, e := range group {
			e.Lacking = e.wants.lacking(m)
			if e.GraceDays == 0 {
				e.GraceDays = longGrace
			}
			if e.Expected == "" {
				e.Expected = e.expected()
			}
			for _, list := range []*[]string{&e.Cautions, &e.Steps, &e.Causes, &e.Lacking} {
				*list = append([]string{}, *list...) // in JSON [], never null
			}
			e.Signs = append([]record.ProofSign{}, e.Signs...)
			e.Before, e.After = append([]record.Command{}, e.Before...), append([]record.Command{}, e.After...)
			out = append(out, e.ProofTest)
		}
	}
	return out
}

// Find finds a test by its id.
func Find(tests []record.ProofTest, id string) (*record.ProofTest, bool) {
	for i := range tests {
		if tests[i].ID == id {
			return &tests[i], true
		}
	}
	return nil, false
}

func (e *entry) expected() string {
	text := "trip " + e.Causes[0]
	for _, c := range e.Causes[1:] {
		text += " or " + c
	}
	text += ", safe state " + e.SafeState
	if e.LimitS.Known() {
		text += fmt.Sprintf(", heat off within %.4g s", float64(e.LimitS))
	}
	return text
}

func (w *wants) lacking(m *profiles.Machine) []string { return m.Lacks(w.any, w.in, w.out) }

// reads makes a sign.
func reads(i point.Input, how string, level float64) record.ProofSign {
	return record.ProofSign{Point: i.String(), How: how, Level: level}
}

func sign1(i point.Input, how string) []record.ProofSign {
	return []record.ProofSign{reads(i, how, 0)}
}

// cold are tests with the heat off that the program can see.
func cold(m *profiles.Machine) []entry {
	return []entry{
		{ProofTest: record.ProofTest{ID: "air-switch-opens", Title: "The air switch opens without air", Kind: record.ProofWatch, Heat: "off",
			Steps:    []string{"Let the machine stand cold with the blower off.", "Keep doors and windows still: a draught through the duct may hold a fine switch closed."},
			Confirm:  "The blower really stood still.",
			Expected: "air_proving reads off for 2 s with the blower off", Signs: sign1(point.AirProving, ReadsOff), LimitS: airSwitchS,
			EveryDays: 1, Occasion: "each day of use", GraceDays: shortGrace},
			wants: wants{in: []point.Input{point.AirProving}}},
		{ProofTest: record.ProofTest{ID: "fire-button", Title: "Fire button", Kind: record.ProofTrip, Heat: "off",
			Cautions: []string{"Tell everybody who can hear the horn that this is a test."},
			Steps:    []string{"With the machine cold, press the fire button and let it go."},
			Restore:  "Make sure that the button is out again. A suspected fire cannot be reset for fifteen minutes, also after a test: make this the last test of the day, or use the time for those of a person.",
			Confirm:  "The horn sounded, lamps showed the alarm, and the blower did not run.",
			Causes:   []string{"fire_button"}, SafeState: "S2", LimitS: reactionS(m, 0), Signs: sign1(point.FireButton, ReadsOn),
			EveryDays: 30, Occasion: "monthly"},
			wants: wants{in: []point.Input{point.FireButton}}},
	}
}

// warm are tests with the heat on that the program can see.
func warm(m *profiles.Machine) []entry {
	l := &m.Limits
	idle := "Warm the empty machine a little: load any recipe, start warming at the machine, and go on as soon as the heat is on. Keep below 150 °C."
	stall := math.Max(float64(l.StallS), slowestPulseS(m))
	leakW := func(w profiles.Watts) float64 { return leakShare * float64(w) }
	return []entry{
		{ProofTest: record.ProofTest{ID: "emergency-stop", Title: "Emergency stop", Kind: record.ProofTrip, Heat: "on",
			Steps:   []string{idle, "Press the emergency stop."},
			Restore: "Release the emergency stop, and watch: nothing may start when you do.",
			Confirm: "Drum, blower and heaters lost their power at once, and nothing started when the stop was released.",
			Causes:  []string{"emergency_stop"}, SafeState: "S6", LimitS: reactionS(m, 0), Signs: sign1(point.EmergencyStopHealthy, ReadsOff),
			EveryDays: 1, Occasion: "each day of use", GraceDays: shortGrace},
			wants: wants{in: []point.Input{point.EmergencyStopHealthy}}},
		{ProofTest: record.ProofTest{ID: "air-proof", Title: "Loss of the air", Kind: record.ProofTrip, Heat: "on",
			Cautions: []string{"The element overheats within seconds without air. If the heat is not off two seconds after the air went, press the emergency stop."},
			Steps:    []string{idle, "Set the air heater to 10 % or less by hand.", "Stop the blower at its own drive, or take the hose off the air switch."},
			Restore:  "Let the blower run again, or put the hose back.",
			Confirm:  "The air heater went off and stayed off.",
			Causes:   []string{"air_lost", "blower_drive"}, SafeState: "S4", LimitS: reactionS(m, float64(l.AirLostS)),
			Signs:     []record.ProofSign{reads(point.AirProving, ReadsOff, 0), reads(point.AirFlow, ReadsBelow, float64(m.Air.MinForHeat)), reads(point.BlowerStatus, ReadsNot, point.DriveRunning)},
			EveryDays: 7, Occasion: "weekly", GraceDays: shortGrace},
			wants: wants{any: []point.Input{point.AirProving, point.AirFlow, point.BlowerStatus}}},
		{ProofTest: record.ProofTest{ID: "drum-stall", Title: "Drum stall", Kind: record.ProofTrip, Heat: "on",
			Cautions: []string{"All guards stay on. Cover or unplug the shaft sensor from outside; do not hold the drum, do not touch the belt."},
			Steps:    []string{idle, "With the lowest heat and the drum turning, cover or unplug the shaft sensor."},
			Restore:  "Uncover the sensor, or plug it in.",
			Confirm:  "The heat went off, the drum was stopped, and it did not start by itself.",
			Causes:   []string{"drum_stall"}, SafeState: "S3", LimitS: reactionS(m, stall),
			Signs:     []record.ProofSign{reads(point.DrumPulses, StandsStill, 0), reads(point.DrumTurning, ReadsBelow, 1)},
			EveryDays: 30, Occasion: "monthly"},
			wants: wants{any: []point.Input{point.DrumPulses, point.DrumTurning}}},
		{ProofTest: record.ProofTest{ID: "high-limit", Title: "Independent high limit", Kind: record.ProofTrip, Heat: "on",
			Cautions: []string{"Write the set point down before you touch it. If the limit has no adjustment outside its cover, this is the electrician's test."},
			Steps:    []string{idle, "Turn the limit slowly down until it trips, and read both its scale and the temperature of its probe."},
			Restore:  "Turn it back to the set point, seal it, let it cool and press its reset.",
			Confirm:  "It tripped within 5 K of the probe's temperature, and the set point is back and sealed. (Note: as found, as left.)",
			Causes:   []string{"high_limit"}, SafeState: "S1", LimitS: reactionS(m, 0), Signs: sign1(point.HighLimitHealthy, ReadsOff),
			EveryDays: 182, Occasion: "every six months, and after any work on it"},
			wants: wants{in: []point.Input{point.HighLimitHealthy}}},
		{ProofTest: record.ProofTest{ID: "over-temperature", Title: "Over-temperature trip", Kind: record.ProofTrip, Heat: "on",
			Cautions: []string{"Use a copy of the machine file. The file of the roasts keeps its limits."},
			Steps: []string{"Serve a copy of the machine file in which limits.exhaust_high.at is 100 °C.",
				"Load any recipe, start warming at the machine and wait until the exhaust has come to 100 °C."},
			Restore: "Serve the machine file of the roasts again when the result is recorded.",
			Confirm: "The heat went off at the lowered limit.",
			Causes:  []string{"exhaust_high"}, SafeState: "S1", LimitS: reactionS(m, float64(l.ExhaustHigh.AfterS)),
			Signs:     []record.ProofSign{reads(point.Exhaust, ReadsAtOver, float64(l.ExhaustHigh.At))},
			EveryDays: 91, Occasion: "every three months"},
			wants: wants{in: []point.Input{point.Exhaust}}},
		{ProofTest: record.ProofTest{ID: "bean-probe", Title: "Broken bean probe", Kind: record.ProofTrip, Heat: "on",
			Steps:   []string{idle, "Unplug the bean probe at its plug outside the cabinet."},
			Restore: "Plug it in; the reading must come back.",
			Confirm: "The heat went off, and no number was shown for the beans while the plug was out.",
			Causes:  []string{"bean_probe"}, SafeState: "S1", LimitS: reactionS(m, float64(l.SensorBadS)), Signs: sign1(point.Bean, GivesNone),
			EveryDays: 91, Occasion: "every three months"},
			wants: wants{in: []point.Input{point.Bean}}},
		{ProofTest: record.ProofTest{ID: "bus-loss", Title: "Loss of the bus to the measuring module", Kind: record.ProofTrip, Heat: "on",
			Steps:   []string{idle, "Pull the bus plug of the module that measures the beans."},
			Restore: "Plug it in; all readings must come back.",
			Confirm: "The heat went off.",
			Causes:  []string{"unit_lost"}, SafeState: "S1", LimitS: reactionS(m, float64(l.BusLostS)), Signs: sign1(point.Bean, NotFresh),
			EveryDays: 30, Occasion: "monthly"},
			wants: wants{in: []point.Input{point.Bean}}},
		{ProofTest: record.ProofTest{ID: "cover", Title: "Cover contact", Kind: record.ProofTrip, Heat: "on",
			Cautions: []string{"Open the cover only as far as its contact needs, and keep your hands outside. If that lays moving parts open, work the contact instead."},
			Steps:    []string{idle, "Open the cover, or work its contact."},
			Restore:  "Shut the cover.",
			Confirm:  "The heat went off.",
			Causes:   []string{"cover"}, SafeState: "S1", LimitS: reactionS(m, float64(l.CoverS)), Signs: sign1(point.CoverClosed, ReadsOff),
			EveryDays: 91, Occasion: "every three months"},
			wants: wants{in: []point.Input{point.CoverClosed}}},
		{ProofTest: record.ProofTest{ID: "heater-leak", Title: "Heater switches block", Kind: record.ProofWatch, Heat: "on",
			Steps:     []string{idle, "Both heaters are now set to 0 % by hand while the contactor stays closed: wait for the result."},
			Confirm:   "The contactor was closed and neither heater drew power.",
			Expected:  "neither heater draws 1 % of its rated power at 0 %, contactor closed",
			Signs:     []record.ProofSign{reads(point.AirHeaterCurrent, Draws, leakW(m.Heaters.Air.PowerW)), reads(point.RadiantCurrent, Draws, leakW(m.Heaters.Radiant.PowerW))},
			LimitS:    record.Unknown,
			Before:    []record.Command{{Kind: record.SetManual, Loop: "air"}, {Kind: record.SetManual, Loop: "base"}},
			After:     []record.Command{{Kind: record.SetAutomatic, Loop: "air"}, {Kind: record.SetAutomatic, Loop: "base"}},
			EveryDays: 1, Occasion: "each day of use", GraceDays: shortGrace},
			wants: wants{in: []point.Input{point.AirHeaterCurrent, point.RadiantCurrent, point.MainsVoltage}, out: []point.Output{point.HeatEnable}}},
		{ProofTest: record.ProofTest{ID: "contactor", Title: "Heat contactor opens", Kind: record.ProofWatch, Heat: "on",
			Steps:    []string{idle, "The machine is now told to stop and run down: wait for the result."},
			Confirm:  "The contactor was heard to open.",
			Expected: fmt.Sprintf("contactor_closed reads off within %.4g s of the command to open", float64(reactionS(m, 0))),
			Signs:    sign1(point.ContactorClosed, ReadsOff), LimitS: reactionS(m, 0),
			Before:    []record.Command{{Kind: record.Stop}},
			EveryDays: 1, Occasion: "each day of use"},
			wants: wants{in: []point.Input{point.ContactorClosed}, out: []point.Output{point.HeatEnable}}},
	}
}

// leakShare is the share of rated power that a switch may let through when it
// blocks (estimate, common practice, no source).
const leakShare = 0.01

// slowestPulseS is two and a half pulse periods at the drum's idle speed: what
// the stall interlock waits for if it is longer than the site's time.
func slowestPulseS(m *profiles.Machine) float64 {
	rpm := float64(m.Drum.IdleSpeed) / (2 * math.Pi * 1000 * float64(m.Drum.RadiusM)) * 60
	if !m.HasIn[point.DrumPulses] || m.Drum.PulsesPerRev == 0 || rpm == 0 {
		return 0
	}
	return 2.5 * 60 / (rpm * float64(m.Drum.PulsesPerRev))
}

// HeartbeatS is how long the relay that watches the life sign may take to open
// the contactor: three beats, but not less than a second.
func HeartbeatS(m *profiles.Machine) float64 {
	beats := 3 * float64(max(1, m.Out[point.Heartbeat].RefreshScans)) * float64(m.Scan.PeriodS)
	return float64(reactionS(m, math.Max(1, beats)))
}

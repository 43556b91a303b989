package safety

import "drumwright/io/point"

// SafeState is what the machine is brought into by a cause. The codes and
// their contents are explained in About.
type SafeState uint8

// The safe states, in no order of rank; see rank.
const (
	S0 SafeState = iota // idle, nothing forced
	S1                  // ordinary trip
	S2                  // suspected fire
	S3                  // drum stopped
	S4                  // air lost
	S5                  // controlled shut-down
	S6                  // emergency stop
	S7                  // restart with a hot machine
)

// air says what a safe state does to the roasting air.
type air uint8

const (
	airKeep   air = iota // as wished, but at least 60 % if it was running
	airFull              // full, may recover
	airStarve            // off: air feeds a fire
	airAsk               // as it is; a person decides
	airWish              // as wished
)

// motion says what a safe state does to the drum or the cooling fan.
type motion uint8

const (
	keep motion = iota // goes on if it was running
	on
	off
	wish
)

// effect is the column entries of one safe state. Heat is off in all but S0.
type effect struct {
	name string
	air  air
	drum motion
	fan  motion
	tell string // what the operator is told
}

var effects = [...]effect{
	S0: {"idle", airWish, wish, wish, ""},
	S1: {"ordinary trip", airKeep, keep, on, "Heat is off. Drop the beans when you are ready and let the machine cool."},
	S2: {"suspected fire", airStarve, keep, off, "Suspected fire. Do not open drum, door or collector. Do not restart the air. Raise the alarm, isolate the mains if that is safe, follow the shop's fire plan and call the fire service if it is not clearly out."},
	S3: {"drum stopped", airFull, off, on, "The drum stands. Empty it by the written procedure; hands out until the drive is isolated."},
	S4: {"air lost", airFull, keep, on, "The air has failed. Drop the beans; look at blower, filter and duct."},
	S5: {"controlled shut-down", airKeep, keep, on, "The machine is cooling down."},
	S6: {"emergency stop", airStarve, off, off, "Emergency stop. Hot beans may be in the drum: empty it by hand as written."},
	S7: {"restart, machine hot", airAsk, keep, keep, "The controller restarted with a hot machine. Look first, then choose: cool with drum and air, or drop."},
}

// rank orders the safe states when several causes act: the first that is
// asked for wins. A suspected fire beats the wish for cooling air.
var rank = [...]SafeState{S6, S2, S3, S4, S1, S7, S5}

// Code is the short code, "S0" to "S7".
func (s SafeState) Code() string {
	return [...]string{"S0", "S1", "S2", "S3", "S4", "S5", "S6", "S7"}[s]
}

// Name is the state in two or three words.
func (s SafeState) Name() string { return effects[s].name }

// Tell is what the operator is told in this state.
func (s SafeState) Tell() string { return effects[s].tell }

// keptAirShare is the least air in states that keep it: enough to carry the
// element's heat away (estimate, common practice, no source).
const keptAirShare = 0.6

// force changes permitted outputs to what the state demands. was is what was
// permitted when the trip began.
func (s SafeState) force(out *[point.NumOutputs]float64, was *[point.NumOutputs]float64, maxBlowerHz float64) {
	if s == S0 {
		return
	}
	out[point.AirHeaterPower], out[point.RadiantPower], out[point.HeatEnable] = 0, 0, 0
	e := effects[s]
	ran := was[point.BlowerRun] >= 0.5
	switch e.air {
	case airKeep:
		if ran {
			out[point.BlowerRun] = 1
			out[point.BlowerSpeed] = max(out[point.BlowerSpeed], keptAirShare*maxBlowerHz)
		}
	case airFull:
		if ran {
			out[point.BlowerRun] = 1
			out[point.BlowerSpeed] = maxBlowerHz
		}
	case airStarve:
		out[point.BlowerRun], out[point.BlowerSpeed] = 0, 0
	case airAsk:
		out[point.BlowerRun], out[point.BlowerSpeed] = was[point.BlowerRun], was[point.BlowerSpeed]
	}
	switch e.drum {
	case keep:
		if was[point.DrumRun] >= 0.5 {
			out[point.DrumRun] = 1
			if out[point.DrumSpeed] <= 0 {
				out[point.DrumSpeed] = was[point.DrumSpeed]
			}
		}
	case off:
		out[point.DrumRun], out[point.DrumSpeed] = 0, 0
	}
	switch e.fan {
	case on:
		if ran {
			out[point.CoolingFan] = 1
		}
	case off:
		out[point.CoolingFan], out[point.Stirrer] = 0, 0
	}
}

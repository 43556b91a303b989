package safety

import "drumwright/io/point"

// SafeState is what the machine is brought into by a cause.
type SafeState uint8

// The safe states, in no order of rank; see rank.
const (
	S0 SafeState = iota // idle, nothing forced
	S1                  // ordinary trip
	S2                  // suspected fire
	S3                  // drum stopped
	S4                  // air lost
	S5                  // poisonous air in the room
	S6                  // emergency stop
	S7                  // restart with a hot machine
)

// air says what a safe state does to the roasting air.
type air uint8

const (
	airOff  air = iota // off: air feeds a fire
	airKeep            // goes on if it ran, with at least 60 %
	airFull            // goes on if it ran, full: it may recover
)

// motion says what a safe state does to the drum or the cooling fan.
type motion uint8

const (
	off  motion = iota
	keep        // goes on if it ran
	on          // runs if the machine ran
)

// effect is the column entries of one safe state. Heat is off in all but S0,
// which forces nothing. No state starts what did not run.
type effect struct {
	code string
	name string
	air  air
	drum motion
	fan  motion
	tell string // what the operator is told
}

var effects = [...]effect{
	S0: {code: "S0", name: "idle"},
	S1: {"S1", "ordinary trip", airKeep, keep, on, "Heat is off. Drop the beans when you are ready and let the machine cool."},
	S2: {"S2", "suspected fire", airOff, keep, off, "Suspected fire. Do not open drum, door or collector. Do not restart the air. Raise the alarm, isolate the mains if that is safe, follow the shop's fire plan and call the fire service if it is not clearly out."},
	S3: {"S3", "drum stopped", airFull, off, on, "The drum stands. Empty it by the written procedure; hands out until the drive is isolated."},
	S4: {"S4", "air lost", airFull, keep, on, "The air has failed. Drop the beans; look at blower, filter and duct."},
	S5: {"S5", "leave the room", airFull, keep, on, "The room's alarm sounds. Leave the room, let fresh air in and call for help if anybody feels ill. The machine cools by itself."},
	S6: {"S6", "emergency stop", airOff, off, off, "Emergency stop. Hot beans may be in the drum: empty it by hand as written."},
	S7: {"S7", "restart, machine hot", airKeep, keep, keep, "The controller restarted with a hot machine. Look first: what turned goes on turning. Then reset to cool with drum and air, or drop."},
}

// rank orders the safe states when several causes act: the first that is
// asked for wins. A suspected fire beats the wish for cooling air.
var rank = [...]SafeState{S6, S2, S3, S4, S1, S5, S7}

// Code is the short code, "S0" to "S7".
func (s SafeState) Code() string { return effects[s].code }

// Name is the state in two or three words.
func (s SafeState) Name() string { return effects[s].name }

// Tell is what the operator is told in this state.
func (s SafeState) Tell() string { return effects[s].tell }

// keptAirShare is the least air in states that keep it: enough to carry the
// element's heat away (estimate, common practice, no source).
const keptAirShare = 0.6

// force changes permitted outputs to what the state demands. What ran is what
// the last scan permitted, not what ran when the first cause tripped: a drum
// that one cause has stopped is not started by the next. After a restart nobody
// knows what runs, so whatever the state would keep is left as it is.
func (g *Gate) force(p *Permit) {
	if g.state == S0 {
		if g.fresh {
			p.leave(point.DrumRun, point.DrumSpeed, point.BlowerRun, point.BlowerSpeed, point.CoolingFan, point.Stirrer)
		}
		return
	}
	out, last, e := &p.out, &g.last, effects[g.state]
	out[point.AirHeaterPower], out[point.RadiantPower], out[point.HeatEnable] = 0, 0, 0
	ran := last[point.BlowerRun] >= 0.5

	switch {
	case e.air == airOff:
		out[point.BlowerRun], out[point.BlowerSpeed] = 0, 0
	case g.fresh:
		p.leave(point.BlowerRun, point.BlowerSpeed)
	case !ran:
		out[point.BlowerRun], out[point.BlowerSpeed] = 0, 0
	case e.air == airFull:
		out[point.BlowerRun], out[point.BlowerSpeed] = 1, g.maxBlowerHz
	default:
		out[point.BlowerRun], out[point.BlowerSpeed] = 1, max(out[point.BlowerSpeed], keptAirShare*g.maxBlowerHz)
	}

	switch {
	case e.drum == off:
		out[point.DrumRun], out[point.DrumSpeed] = 0, 0
	case g.fresh:
		p.leave(point.DrumRun, point.DrumSpeed)
	case last[point.DrumRun] < 0.5:
		out[point.DrumRun], out[point.DrumSpeed] = 0, 0
	default:
		out[point.DrumRun] = 1
		if out[point.DrumSpeed] <= 0 || out[point.DrumSpeed] < g.minDrumHz {
			out[point.DrumSpeed] = last[point.DrumSpeed]
		}
	}

	switch {
	case e.fan == off:
		out[point.CoolingFan], out[point.Stirrer] = 0, 0
	case g.fresh:
		p.leave(point.CoolingFan, point.Stirrer)
	default:
		out[point.CoolingFan] = max(out[point.CoolingFan], last[point.CoolingFan])
		if e.fan == on && ran {
			out[point.CoolingFan] = 1
		} else if last[point.CoolingFan] < 0.5 {
			out[point.CoolingFan] = 0
		}
		if last[point.Stirrer] < 0.5 {
			out[point.Stirrer] = 0
		}
	}
}

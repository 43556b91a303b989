package plant

import "math"

// drive is an inverter: its output ramps to the set point while it may run. A
// trip or a lost enable stops the output at once, and only taking the run
// command away readies it again, so that nothing starts turning by itself.
type drive struct {
	outputHz float64
	tripped  bool // fault shown on the drive
	blocked  bool // waits for the run command to go away
}

func (d *drive) step(run, enabled, fault bool, setHz, maxHz, rampHzPerS, h float64) {
	d.tripped = fault
	if fault || !enabled {
		d.blocked = true
		d.outputHz = 0
		return
	}
	if !run {
		d.blocked = false
	}
	goal := 0.0
	if run && !d.blocked {
		goal = min(max(setHz, 0), maxHz)
		if math.IsNaN(goal) {
			goal = 0
		}
	}
	step := rampHzPerS * h
	d.outputHz = min(max(goal, d.outputHz-step), d.outputHz+step)
}

// lag moves v towards goal as a first-order lag does in h seconds.
func lag(v, goal, tauS, h float64) float64 {
	return goal + (v-goal)*math.Exp(-h/tauS)
}

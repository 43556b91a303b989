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

// bareMotorShare is the current of a motor that drives nothing, share of that
// with the empty drum (common practice, no source).
const bareMotorShare = 0.6

// drumA is the current of the drum's motor, by what lies in the drum.
func (m *Machine) drumA() float64 {
	switch {
	case m.drum.outputHz <= 0:
		return 0
	case m.has(drumStall): // the belt is off
		return bareMotorShare * m.p.DrumEmptyA
	}
	a := m.p.DrumEmptyA + (m.p.DrumFullA-m.p.DrumEmptyA)*m.bed.kg()/m.p.BatchKg
	if m.has(drumLabours) {
		a *= 1.4
	}
	return a
}

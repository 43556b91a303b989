package say

import (
	"fmt"

	"drumwright/io/point"
	"drumwright/io/record"
)

// Motion is what heat, air, drum and tray fan do, each in a few words, from the
// permit and from feedback. What was asked and has not been seen is called not
// confirmed.
type Motion struct {
	Heat string `json:"heat"`
	Air  string `json:"air"`
	Drum string `json:"drum"`
	Tray string `json:"tray"`
}

// leakA is the current below which a heater is taken to be without power: the
// error of a current transformer near zero (estimate, common practice, no source).
const leakA = 0.5

func motion(v *record.View) Motion {
	return Motion{Heat: heat(v), Air: air(v), Drum: drum(v), Tray: tray(v)}
}

func permit(v *record.View, o point.Output) float64 { return float64(v.Outputs[o.String()].Permit) }

// seen is a usable value and whether there is one; fitted says whether the
// machine has the point at all.
func seen(v *record.View, i point.Input) (value float64, ok, fitted bool) {
	p, fitted := v.Points[i.String()]
	return float64(p.Value), fitted && (p.Quality == point.Good.String() || p.Quality == point.Uncertain.String()), fitted
}

func heat(v *record.View) string {
	if asked := max(permit(v, point.AirHeaterPower), permit(v, point.RadiantPower)); permit(v, point.HeatEnable) >= 0.5 {
		if asked > 0 {
			return fmt.Sprintf("Heat on: air heater %s, base %s", percent(permit(v, point.AirHeaterPower)), percent(permit(v, point.RadiantPower)))
		}
		return "Heat ready, none asked"
	}
	doubt, proof := false, false
	if x, ok, fitted := seen(v, point.ContactorClosed); fitted {
		doubt, proof = doubt || !ok || x >= 0.5, true
	}
	for _, i := range [...]point.Input{point.AirHeaterCurrent, point.RadiantCurrent} {
		if x, ok, fitted := seen(v, i); fitted {
			doubt, proof = doubt || !ok || x > leakA, true
		}
	}
	if doubt || !proof {
		return "Heat asked off, not confirmed"
	}
	return heatOff
}

const heatOff = "Heat off" // written only where feedback shows it

// feedback reports whether the machine has anything that shows heat.
func feedback(v *record.View) bool {
	for _, i := range [...]point.Input{point.ContactorClosed, point.AirHeaterCurrent, point.RadiantCurrent} {
		if _, _, fitted := seen(v, i); fitted {
			return true
		}
	}
	return false
}

func percent(share float64) string { return number(100*share, 0) + thin + "%" }

func air(v *record.View) string {
	on := permit(v, point.BlowerRun) >= 0.5
	proven, ok, fitted := seen(v, point.AirProving)
	switch {
	case on && fitted && ok && proven >= 0.5:
		return "Air on, proven"
	case on && fitted:
		return "Air asked on, not proven"
	case on:
		return "Air asked on"
	case fitted && ok && proven >= 0.5:
		return "Air asked off, still moving"
	}
	return "Air off"
}

func drum(v *record.View) string {
	on, speed := permit(v, point.DrumRun) >= 0.5, float64(v.Drum.MeasuredMMPerS)
	_, _, pulses := seen(v, point.DrumPulses)
	_, _, turning := seen(v, point.DrumTurning)
	switch watched := pulses || turning; {
	case speed > 0:
		return "Drum turns at " + number(speed, 0) + thin + "mm/s"
	case on && watched:
		return "Drum asked to turn, not seen to"
	case on:
		return "Drum asked to turn"
	case watched:
		return "Drum stands"
	}
	return "Drum asked to stand"
}

func tray(v *record.View) string {
	on := permit(v, point.CoolingFan) >= 0.5
	runs, ok, fitted := seen(v, point.CoolingFanRunning)
	switch {
	case on && fitted && ok && runs >= 0.5:
		return "Tray fan runs"
	case on && fitted:
		return "Tray fan asked on, not proven"
	case on:
		return "Tray fan asked on"
	}
	return "Tray fan off"
}

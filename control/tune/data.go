package tune

import "math"

// Level is an input that holds from AtS until the next.
type Level struct{ AtS, Value float64 }

// Sample is one measured value.
type Sample struct{ AtS, Value float64 }

// Data is an experiment: the input in its changes, the output in samples, both
// in the order of time. Before the first level the input was at rest at Rest.
type Data struct {
	Rest    float64 // input at rest, in input units
	Inputs  []Level
	Outputs []Sample
}

// unitResponse fills y with the answer of a process of gain 1, at rest before,
// to the input's departure from rest.
func (p Process) unitResponse(d *Data, y []float64) {
	var s state
	u, next := 0.0, 0
	nowS := d.Outputs[0].AtS
	if len(d.Inputs) > 0 {
		nowS = math.Min(nowS, d.Inputs[0].AtS+p.DelayS)
	}
	for i, o := range d.Outputs {
		for next < len(d.Inputs) && d.Inputs[next].AtS+p.DelayS <= o.AtS {
			at := d.Inputs[next].AtS + p.DelayS
			p.move(&s, u, at-nowS)
			u, nowS = d.Inputs[next].Value-d.Rest, math.Max(nowS, at)
			next++
		}
		p.move(&s, u, o.AtS-nowS)
		nowS = o.AtS
		y[i] = s.x2
	}
}

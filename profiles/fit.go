package profiles

import (
	"fmt"
)

// airCpJPerKgK is the specific heat of dry air, good within 2 % from 0 to
// 350 °C (value from memory); roomC the room for which reach is asked.
const (
	airCpJPerKgK = 1020.0
	roomC        = 20.0
)

// Fit checks a recipe against a machine: masses, temperatures, flows, speeds
// and heater power that this machine has. The error, if any, is a Faults with
// the lines of the recipe.
func Fit(r *Recipe, m *Machine) error {
	s := newSource(r.File)
	if r.lines != nil {
		s.lines = r.lines
	}
	f := fitCheck{source: s, r: r, m: m}
	f.charge()
	f.stages()
	f.end()
	lim := m.speedLimits()
	for i, p := range r.Speed {
		s.checkSpeed(entry("drum_speed", i)+".speed", p.Speed, lim)
	}
	return s.result()
}

type fitCheck struct {
	*source
	r *Recipe
	m *Machine
}

func (f *fitCheck) charge() {
	c, b := &f.r.Charge, &f.m.Bed
	if c.Green < b.MinBatch || c.Green > b.MaxBatch {
		f.fault("charge.green", c.Green.String(), fmt.Sprintf("%v to %v on %s", b.MinBatch, b.MaxBatch, f.m.About.Name), "weigh another batch, or roast it on another machine")
	}
	flow := f.m.Air.Nominal
	if c.Flow > 0 {
		flow = c.Flow
		f.flow("charge.flow", flow)
	}
	f.inlet("charge.inlet", c.Air, flow)
	f.skin("charge.skin", c.Skin)
}

// stages follows the flow in the order of the file, which is the order of the
// roast for stages of one kind and the writer's intention for mixed ones.
func (f *fitCheck) stages() {
	flow := f.r.Charge.Flow
	if flow == 0 {
		flow = f.m.Air.Nominal
	}
	for i := range f.r.Stages {
		st, k := &f.r.Stages[i], entry("stages", i)
		if st.Flow != nil {
			flow = *st.Flow
			f.flow(k+".flow", flow)
		}
		if st.Inlet != nil {
			f.inlet(k+".inlet", *st.Inlet, flow)
		}
		if st.Skin != nil {
			f.skin(k+".skin", *st.Skin)
		}
	}
}

func (f *fitCheck) flow(key string, v KgPerHour) {
	most := f.m.FlowKgPerS(float64(f.m.Air.MaxHz)) * 3600
	if v < f.m.Air.MinForHeat || float64(v) > most*(1+1e-9) {
		f.fault(key, v.String(), fmt.Sprintf("%v to %.4g kg/h: below, the air heater stays off; above, the blower ends", f.m.Air.MinForHeat, most), "choose a flow in between")
	}
}

func (f *fitCheck) skin(key string, v Celsius) {
	if v > f.m.Loops.Base.MaxSet {
		f.fault(key, v.String(), "up to loops.base.max_set of the machine, "+f.m.Loops.Base.MaxSet.String(), "choose a lower skin temperature")
	}
}

func (f *fitCheck) inlet(key string, v Celsius, flow KgPerHour) {
	l := &f.m.Loops.Air
	if v > l.MaxSet || v < l.MinSet {
		f.fault(key, v.String(), fmt.Sprintf("%v to %v, the set points of the machine's air loop", l.MinSet, l.MaxSet), "choose an inlet temperature in between")
		return
	}
	h := &f.m.Heaters.Air
	have := float64(h.PowerW) * float64(h.MaxDuty) * float64(h.Efficiency)
	reach := roomC + have/(float64(flow)/3600*airCpJPerKgK)
	if float64(v) > reach {
		f.fault(key, fmt.Sprintf("%v at %v", v, flow), fmt.Sprintf("up to %.0f °C: the air heater cannot warm this much air further from a room of %.0f °C", reach, roomC), "ask for less air or a lower temperature")
	}
}

func (f *fitCheck) end() {
	off := f.m.Limits.BeanHeatOff
	if b := f.r.Drop.Bean; b != nil && *b >= off {
		f.fault("drop.bean", b.String(), "less than limits.bean_heat_off of the machine, "+off.String(), "drop earlier")
	}
	if n := len(f.r.Curve); n > 0 && f.r.Curve[n-1].Bean >= off {
		f.fault(entry("bean_curve", n-1)+".bean", f.r.Curve[n-1].Bean.String(), "less than limits.bean_heat_off of the machine, "+off.String(), "end the curve earlier")
	}
	for i := range f.r.Stages {
		if t := f.r.Stages[i].When; t.Kind == AtBean && t.Value >= float64(off) {
			f.fault(entry("stages", i)+".when", t.String(), "less than limits.bean_heat_off of the machine, "+off.String(), "move the stage")
		}
	}
}

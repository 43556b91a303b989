package assess

import (
	"fmt"
	"math"
	"math/rand/v2"

	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

// field stands between controller and simulated machine as the modules and
// drives would: noise, number formats and read rhythms, but no wire.
type field struct {
	m       *profiles.Machine
	machine *plant.Machine
	rng     *rand.Rand
	noiseC  float64
	bumpSd  float64
	bumpC   float64 // present offset of the bean probe by a bumping bed
	flow    float64 // true flow over what blower and meter say
	last    point.Image
	scan    int
	wiring  registers.Wiring
	err     error
}

// terminalsC is how warm it is where the wires of thermocouples end.
const terminalsC = 31.3

// read fills the image of one scan.
func (f *field) read(img *point.Image) {
	r := f.machine.Readings()
	step := -math.Expm1(-float64(f.m.Scan.PeriodS) / bumpS)
	f.bumpC += -step*f.bumpC + f.bumpSd*math.Sqrt(step*(2-step))*f.rng.NormFloat64()
	for i := range point.NumInputs {
		a := &f.m.In[i]
		v := f.shown(i, &r)
		if i.Role().Kind == point.Temperature {
			v += f.noiseC * f.rng.NormFloat64()
		}
		if !f.m.HasIn[i] {
			img.In[i] = point.Value{}
			continue
		}
		if every := max(1, a.EveryScans); f.scan%every != 0 {
			img.In[i] = f.last.In[i]
			img.In[i].AgeS += float64(f.m.Scan.PeriodS)
			continue
		}
		if a.Sensor.Thermocouple() {
			v = a.Uncompensate(v, terminalsC)
		}
		img.In[i] = f.through(a, i, v)
		if a.Sensor.Thermocouple() {
			img.In[i] = a.Compensate(img.In[i], point.Value{V: terminalsC, Quality: point.Good})
		}
	}
	f.last = *img
	f.scan++
}

// through takes a value through the registers and back.
func (f *field) through(a *point.Access, i fmt.Stringer, v float64) point.Value {
	var w [2]uint16
	if _, err := a.Encode(v, &w); err != nil {
		if f.err == nil {
			f.err = fmt.Errorf("simulated %s: %w", i, err)
		}
		return point.Value{Quality: point.Bad, Cause: point.OutOfRange}
	}
	return a.Decode(w[:])
}

// shown is what the machine shows for a role, without noise but with a bumping
// bed and a flow meter that is told the same lie as the blower.
func (f *field) shown(i point.Input, r *plant.Readings) float64 {
	v, _ := registers.Shown(i, r)
	switch i {
	case point.Bean, point.Bean2:
		return v + f.bumpC
	case point.AirFlow:
		return v / f.flow
	}
	return v
}

// write gives what the gate permits to the machine.
func (f *field) write(p *safety.Permit) {
	c := f.wiring.Commands(func(o point.Output) float64 {
		v := p.Value(o)
		if v < f.m.DeadHz[o] {
			v = 0
		}
		return f.through(&f.m.Out[o], o, v).V
	})
	c.BlowerHz *= f.flow
	f.machine.SetCommands(c)
}

package assess

import (
	"fmt"
	"math"
	"math/rand/v2"

	"drumwright/control/plant"
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
	beat    bool
	beats   uint16
	err     error
}

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
		img.In[i] = f.through(a, i, v)
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

// shown is what the machine shows for a role, without noise.
func (f *field) shown(i point.Input, r *plant.Readings) float64 {
	on := func(b bool) float64 {
		if b {
			return 1
		}
		return 0
	}
	switch i {
	case point.Bean, point.Bean2:
		return r.BeanProbe.C + f.bumpC
	case point.InletAir:
		return r.InletProbe.C
	case point.DrumSkin, point.DrumSkin2:
		return r.SkinProbe.C
	case point.Exhaust:
		return r.ExhaustProbe.C
	case point.HeaterElement:
		return r.ElementProbe.C
	case point.HighLimit:
		return r.LimitProbe.C
	case point.Ambient, point.Cabinet, point.Collector:
		return r.AmbientProbe.C
	case point.CoolingTray:
		return r.TrayProbe.C
	case point.DrumPulses:
		return float64(r.DrumPulses)
	case point.DrumTurning:
		return r.DrumRPM
	case point.AirFlow:
		return r.AirFlowKgPerH / f.flow
	case point.DrumStatus:
		return on(r.DrumDrive.Running)
	case point.BlowerStatus:
		return on(r.BlowerDrive.Running)
	case point.DrumHz:
		return r.DrumDrive.OutputHz
	case point.AirProving:
		return on(r.AirProven)
	case point.CoolingFanRunning:
		return on(r.CoolingFanRunning)
	case point.DrumCurrent:
		return r.DrumDrive.CurrentA
	case point.CoverClosed, point.EmergencyStopHealthy, point.HighLimitHealthy, point.PhasesHealthy, point.SupplyHealthy:
		return 1
	case point.ContactorClosed:
		return on(r.ContactorClosed)
	case point.ChargeGateOpen:
		return on(r.ChargeGateOpen)
	case point.DischargeDoorOpen:
		return on(r.DischargeOpen)
	case point.AirHeaterCurrent:
		return r.AirHeaterA
	case point.RadiantCurrent:
		return r.RadiantA
	case point.MainsVoltage:
		return r.MainsV
	}
	return 0
}

// write gives what the gate permits to the machine.
func (f *field) write(p *safety.Permit) {
	get := func(o point.Output) float64 {
		if !f.m.HasOut[o] {
			return 0
		}
		v := p.Value(o)
		if v < f.m.DeadHz[o] {
			v = 0
		}
		return f.through(&f.m.Out[o], o, v).V
	}
	on := func(o point.Output) bool { return get(o) >= 0.5 }
	c := plant.Commands{
		DrumHz: get(point.DrumSpeed), BlowerHz: f.flow * get(point.BlowerSpeed),
		AirHeaterDuty: get(point.AirHeaterPower), RadiantDuty: get(point.RadiantPower),
		CoolingFan: on(point.CoolingFan), Stirrer: on(point.Stirrer),
	}
	c.DrumRun = on(point.DrumRun) || !f.m.HasOut[point.DrumRun] && c.DrumHz > 0
	c.BlowerRun = on(point.BlowerRun) || !f.m.HasOut[point.BlowerRun] && c.BlowerHz > 0
	c.HeatEnable = on(point.HeatEnable) || !f.m.HasOut[point.HeatEnable]
	if b := on(point.Heartbeat); b != f.beat || !f.m.HasOut[point.Heartbeat] {
		f.beat = b
		f.beats++
	}
	c.Heartbeat = f.beats
	f.machine.SetCommands(c)
}

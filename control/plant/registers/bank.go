package registers

import (
	"fmt"
	"math"

	"drumwright/control/plant"
	"drumwright/io/point"
	"drumwright/profiles"
)

// bank is one address space of one unit: every address from the lowest to the
// highest that the machine file names. What lies between reads as 0; what lies
// outside does not exist.
type bank struct {
	lo    int
	words []uint16
}

type bankKey struct {
	bus   int
	unit  uint8
	table point.Table
}

func (b *bank) span(addr, quantity uint16) ([]uint16, bool) {
	from := int(addr) - b.lo
	if from < 0 || from+int(quantity) > len(b.words) {
		return nil, false
	}
	return b.words[from : from+int(quantity)], true
}

// layOut makes the banks that the machine's points need.
func layOut(m *profiles.Machine) map[bankKey]*bank {
	type reach struct{ lo, hi int }
	spans := map[bankKey]reach{}
	note := func(a *point.Access) {
		k := bankKey{a.Bus, a.Unit, a.Table}
		lo, hi := int(a.Address), int(a.Address)+max(a.Type.Words(), a.SpanWords, 1)
		if r, ok := spans[k]; ok {
			lo, hi = min(lo, r.lo), max(hi, r.hi)
		}
		spans[k] = reach{lo, hi}
	}
	for i := range m.In {
		if m.HasIn[i] {
			note(&m.In[i])
		}
	}
	for o := range m.Out {
		if m.HasOut[o] {
			note(&m.Out[o])
		}
		if m.HasBack[o] {
			note(&m.Back[o])
		}
	}
	for i := range m.Constants {
		note(&m.Constants[i].Access)
	}
	banks := map[bankKey]*bank{}
	for k, r := range spans {
		banks[k] = &bank{lo: r.lo, words: make([]uint16, r.hi-r.lo)}
	}
	return banks
}

// input puts one reading into its registers.
func (s *Server) input(i point.Input, v float64, open bool) error {
	if !s.m.HasIn[i] {
		return nil
	}
	a := &s.m.In[i]
	b := s.banks[bankKey{a.Bus, a.Unit, a.Table}]
	var w [2]uint16
	var n int
	var err error
	switch {
	case open:
		n, err = a.EncodeRaw(openCode(a), &w)
	case i.Role().Kind == point.Counter:
		raw := v / a.Scale
		if wrap := a.Type.Wrap(); wrap > 0 {
			raw = math.Mod(raw, wrap)
			if (a.Type == point.Int16 || a.Type == point.Int32) && raw >= wrap/2 {
				raw -= wrap
			}
		}
		n, err = a.EncodeRaw(raw, &w)
	default:
		n, err = a.Encode(v, &w)
	}
	if err != nil {
		return fmt.Errorf("simulated machine: input %s: %w", i, err)
	}
	b.put(a, w[:n])
	return nil
}

// put writes the words of a value to its place. Other bits of a word belong to
// others.
func (b *bank) put(a *point.Access, words []uint16) {
	at := int(a.Address) - b.lo
	if a.Bit != point.NoBit && !a.Table.Bits() {
		mask := a.WordBit()
		b.words[at] = b.words[at]&^mask | words[0]
		return
	}
	copy(b.words[at:], words)
}

// openCode is what a module sends for an open probe: its own code, not a
// number in a float, or the end of the scale.
func openCode(a *point.Access) float64 {
	if len(a.OpenCodes) > 0 {
		return a.OpenCodes[0]
	}
	switch a.Type {
	case point.Float32:
		return math.NaN()
	case point.Int16:
		return math.MaxInt16
	case point.Uint16:
		return math.MaxUint16
	case point.Int32:
		return math.MaxInt32
	}
	return math.MaxUint32
}

// order is the value that a client has last written to an output, 0 before.
func (s *Server) order(o point.Output) float64 {
	if !s.m.HasOut[o] {
		return 0
	}
	a := &s.m.Out[o]
	b := s.banks[bankKey{a.Bus, a.Unit, a.Table}]
	at := int(a.Address) - b.lo
	return a.Decode(b.words[at : at+a.Type.Words()]).V
}

// show puts everything that machine and devices report into the registers.
func (s *Server) show() error {
	r := s.machine.Readings()
	if err := s.readings(&r); err != nil {
		return err
	}
	return s.devices()
}

// readings shows everything that the machine reports.
func (s *Server) readings(r *plant.Readings) error {
	var first error
	put := func(i point.Input, v float64) {
		if err := s.input(i, v, false); err != nil && first == nil {
			first = err
		}
	}
	probe := func(i point.Input, p plant.ProbeReading) {
		if err := s.input(i, p.C, p.Status == plant.ProbeOpen); err != nil && first == nil {
			first = err
		}
	}
	contact := func(i point.Input, on bool) {
		v := 0.0
		if on {
			v = 1
		}
		put(i, v)
	}
	probe(point.Bean, r.BeanProbe)
	probe(point.Bean2, r.Bean2Probe)
	probe(point.InletAir, r.InletProbe)
	probe(point.DrumSkin, r.SkinProbe)
	probe(point.DrumSkin2, r.SkinProbe)
	probe(point.Exhaust, r.ExhaustProbe)
	probe(point.HeaterElement, r.ElementProbe)
	probe(point.HighLimit, r.LimitProbe)
	probe(point.Ambient, r.AmbientProbe)
	probe(point.CoolingTray, r.TrayProbe)
	probe(point.Collector, r.CollectorProbe)
	probe(point.Cabinet, r.CabinetProbe)
	put(point.DrumPulses, float64(r.DrumPulses))
	put(point.DrumTurning, r.DrumRPM)
	put(point.AirFlow, r.AirFlowKgPerH)
	put(point.DrumStatus, status(r.DrumDrive))
	put(point.BlowerStatus, status(r.BlowerDrive))
	put(point.DrumHz, r.DrumDrive.OutputHz)
	put(point.DrumCurrent, r.DrumDrive.CurrentA)
	contact(point.PhasesHealthy, r.PhasesHealthy)
	contact(point.SupplyHealthy, r.SupplyHealthy)
	contact(point.DrumFault, r.DrumDrive.Fault)
	contact(point.BlowerFault, r.BlowerDrive.Fault)
	contact(point.AirProving, r.AirProven)
	contact(point.CoolingFanRunning, r.CoolingFanRunning)
	contact(point.CoverClosed, r.CoverClosed)
	contact(point.EmergencyStopHealthy, r.EStopHealthy)
	contact(point.HighLimitHealthy, r.LimitHealthy)
	contact(point.ContactorClosed, r.ContactorClosed)
	contact(point.ChargeGateOpen, r.ChargeGateOpen)
	contact(point.DischargeDoorOpen, r.DischargeOpen)
	contact(point.CarbonMonoxideAlarm, r.CarbonMonoxideAlarm)
	contact(point.ResetButton, s.buttons.reset)
	contact(point.FireButton, s.buttons.fire)
	put(point.AirHeaterCurrent, r.AirHeaterA)
	put(point.RadiantCurrent, r.RadiantA)
	put(point.MainsVoltage, r.MainsV)
	return first
}

func status(d plant.DriveReading) float64 {
	switch {
	case d.Fault:
		return point.DriveFault
	case d.Running:
		return point.DriveRunning
	}
	return point.DriveStopped
}

// commands is what clients have written, as the machine takes it.
func (s *Server) commands() plant.Commands {
	on := func(o point.Output) bool { return s.order(o) >= 0.5 }
	c := plant.Commands{
		DrumRun: on(point.DrumRun), DrumHz: s.order(point.DrumSpeed),
		BlowerRun: on(point.BlowerRun), BlowerHz: s.order(point.BlowerSpeed),
		AirHeaterDuty: s.order(point.AirHeaterPower), RadiantDuty: s.order(point.RadiantPower),
		HeatEnable: on(point.HeatEnable), CoolingFan: on(point.CoolingFan), Stirrer: on(point.Stirrer), Horn: on(point.Horn),
	}
	// Without an output of its own a thing is wired to go with its neighbour.
	if !s.m.HasOut[point.DrumRun] {
		c.DrumRun = c.DrumHz > 0
	}
	if !s.m.HasOut[point.BlowerRun] {
		c.BlowerRun = c.BlowerHz > 0
	}
	if !s.m.HasOut[point.HeatEnable] {
		c.HeatEnable = true
	}
	if s.m.HasOut[point.Heartbeat] {
		if b := on(point.Heartbeat); b != s.lastBeat {
			s.lastBeat = b
			s.beats++
		}
		c.Heartbeat = s.beats
	} else {
		s.beats++
		c.Heartbeat = s.beats
	}
	return c
}

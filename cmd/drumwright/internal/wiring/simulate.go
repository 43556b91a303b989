package wiring

import (
	"context"
	"slices"

	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/point"
	"drumwright/profiles"
)

// Simulation is a walk along a simulated machine with a person made up for it.
type Simulation struct {
	Built *profiles.Machine // as it is wired
	Told  *profiles.Machine // as the machine file says; the same one when all is right
	Twin  []point.Input     // inputs whose unit shares its id with a second device
	Who   string
	Seed  uint64
	Say   func(string)

	each func(*madeUp) // after each scan, for tests
}

// warmedByHandK is how far the made-up person warms a probe.
const warmedByHandK = 9.0

// Run makes the walk in lockstep.
func (x *Simulation) Run(ctx context.Context) (*Record, error) {
	built, told := *x.Built, *x.Told
	built.BusList = slices.Clone(built.BusList)
	params := registers.ParamsFor(&built)
	physics, err := plant.New(params, x.Seed)
	if err != nil {
		return nil, err
	}
	server, err := registers.New(&built, physics)
	if err != nil {
		return nil, err
	}
	server.Unpaced = true
	if err := server.Listen(true); err != nil {
		return nil, err
	}
	defer server.Close()
	for _, i := range x.Twin {
		if err := server.Twin(i); err != nil {
			return nil, err
		}
	}
	told.BusList = slices.Clone(told.BusList)
	for i := range told.BusList {
		told.BusList[i].TCP, told.BusList[i].RTU = built.BusList[i].TCP, built.BusList[i].RTU
		if told.BusList[i].RTU != nil { // the simulated line is not paced
			rtu := *told.BusList[i].RTU
			rtu.PauseS = 0.0001
			told.BusList[i].RTU, told.BusList[i].QuietS = &rtu, 0.005
		}
	}
	p := &madeUp{server: server, m: &built, roomC: params.AmbientC, say: x.Say, saw: map[point.Output]bool{}, each: x.each}
	w, err := New(&told, x.Who, p, simulatedClock{p, float64(built.Scan.PeriodS)})
	if err != nil {
		return nil, err
	}
	r, err := w.Run(ctx)
	if r != nil {
		r.Simulated, r.WiringHash = true, Hash(x.Told)
	}
	return r, err
}

// madeUp is the person, who does what is asked at the machine as it is wired and
// watches it.
type madeUp struct {
	server *registers.Server
	m      *profiles.Machine
	roomC  float64
	say    func(string)
	saw    map[point.Output]bool
	each   func(*madeUp)
}

func (p *madeUp) Say(text string) {
	if p.say != nil {
		p.say(text)
	}
}

func (p *madeUp) Room(context.Context) (float64, error) { return p.roomC, nil }

func (p *madeUp) Act(_ context.Context, i point.Input, restore bool, _ string) (bool, error) {
	var r plant.Readings
	p.server.With(func(m *plant.Machine) { r = m.Readings() })
	v, _ := registers.Shown(i, &r)
	switch kind := i.Role().Kind; {
	case restore:
		p.server.Release(i)
	case kind == point.Temperature:
		p.server.Touch(i, v+warmedByHandK)
	case i == point.DrumPulses:
		p.server.Touch(i, v+float64(max(1, p.m.Drum.PulsesPerRev)))
	default:
		p.server.Touch(i, 1-v)
	}
	return true, nil
}

func (p *madeUp) Confirm(_ context.Context, o point.Output, _ string) (bool, error) {
	saw := p.saw[o]
	clear(p.saw)
	return saw, nil
}

// watch notes what the machine does.
func (p *madeUp) watch() {
	p.server.With(func(m *plant.Machine) {
		r, t := m.Readings(), m.Truth()
		note := func(o point.Output, on bool) {
			if on {
				p.saw[o] = true
			}
		}
		note(point.Horn, r.HornOn)
		note(point.Stirrer, r.StirrerRunning)
		note(point.CoolingFan, r.CoolingFanRunning)
		note(point.DrumSpeed, t.DrumRPM > 0)
		note(point.RadiantPower, r.RadiantA > 0)
	})
}

type simulatedClock struct {
	p       *madeUp
	periodS float64
}

// Tick moves the machine on by one scan.
func (c simulatedClock) Tick(ctx context.Context) (passedS float64, err error) {
	if err := c.p.server.Advance(c.periodS); err != nil {
		return 0, err
	}
	c.p.watch()
	if c.p.each != nil {
		c.p.each(c.p)
	}
	return c.periodS, ctx.Err()
}

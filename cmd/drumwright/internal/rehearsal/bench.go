package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"time"

	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/fieldbus"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety/proof"
)

// BenchPlan is one proof test on the simulated machine.
type BenchPlan struct {
	Machine *profiles.Machine // its buses are moved to free loopback ports
	Recipe  *profiles.Recipe
	Test    record.ProofTest
	Seed    uint64
	Broken  []string // faults that the machine has from the start
}

// BenchResult is what came of it. Times are of the simulated machine, s.
type BenchResult struct {
	Seen       string
	MeasuredS  record.Number // by the machine's truth, where it has one; else by the record
	FromFaultS record.Number // the same, but from the moment the fault was put in
	Pass       bool
}

// deed is what the scripted person does to the machine for one test.
type deed struct {
	do, undo func(*bench) error
	// onset is when, by the machine's truth, what the interlock is to see is
	// there; nil = with the deed.
	onset func(*bench, *plant.Machine) bool
	// freezeS is for how long the controller stands still.
	freezeS float64
}

func faulty(name string) deed {
	return deed{
		do: func(b *bench) error {
			return b.with(func(m *plant.Machine) error { return m.Inject(name) })
		},
		undo: func(b *bench) error {
			return b.with(func(m *plant.Machine) error { return m.Clear(name) })
		},
	}
}

// overTemperatureC is what the exhaust limit is lowered to: the least that a
// machine file may hold.
const overTemperatureC = 100

// deeds are the tests that the simulated machine can show.
var deeds = map[string]deed{
	"emergency-stop": faulty("estop_pressed"),
	"high-limit":     faulty("high_limit_open"),
	"drum-stall":     faulty("drum_pulses_lost"),
	"bean-probe":     faulty("bean_probe_open"),
	"cover":          faulty("cover_open"),
	"air-proof": {do: faulty("air_lost").do, undo: faulty("air_lost").undo, onset: func(b *bench, m *plant.Machine) bool {
		r := m.Readings()
		return b.m.HasIn[point.AirProving] && !r.AirProven ||
			b.m.HasIn[point.AirFlow] && r.AirFlowKgPerH < float64(b.m.Air.MinForHeat)
	}},
	"fire-button": {
		do:   func(b *bench) error { b.server.PressFire(true); return nil },
		undo: func(b *bench) error { b.server.PressFire(false); return nil },
	},
	"bus-loss": {
		do:   func(b *bench) error { return b.server.Silence(point.Bean, true) },
		undo: func(b *bench) error { return b.server.Silence(point.Bean, false) },
	},
	"over-temperature": {
		onset: func(b *bench, m *plant.Machine) bool {
			return m.Readings().ExhaustProbe.C >= overTemperatureC
		},
	},
	"heartbeat":        {freezeS: 5},
	"air-switch-opens": {},
	"heater-leak":      {},
	"contactor":        {},
}

// Benched lists the ids of the tests that the simulated machine can show.
func Benched() []string { return slices.Sorted(maps.Keys(deeds)) }

// Times of a bench test, s.
const (
	coldS     = 2.0    // cold idle
	warmS     = 20.0   // warm idle before the deed
	heatMaxS  = 120.0  // until heat must be on
	waitS     = 900.0  // for the effect
	standS    = 10.0   // the fault is left standing
	thereupon = 10.0   // watched after the reset, for heat that comes back
	resetMaxS = 1200.0 // until the reset must be taken: a suspected fire holds it for 900
)

var errBenchOver = errors.New("the proof test is over")

// Prove plays one proof test: an empty machine from cold, warmed if the test
// asks for it, the fault put in, taken out and reset.
func Prove(ctx context.Context, p BenchPlan) (*BenchResult, error) {
	d, ok := deeds[p.Test.ID]
	if !ok {
		return nil, fmt.Errorf("proof test %s cannot be shown on the simulated machine", p.Test.ID)
	}
	machine := *p.Machine
	machine.BusList = slices.Clone(p.Machine.BusList)
	test := p.Test
	if test.ID == "over-temperature" {
		machine.Limits.ExhaustHigh.At = overTemperatureC
		lowered, _ := proof.Find(proof.Tests(&machine), test.ID)
		test = *lowered
	}
	physics, err := plant.New(registers.ParamsFor(&machine), p.Seed)
	if err != nil {
		return nil, err
	}
	for _, f := range p.Broken {
		if err := physics.Inject(f); err != nil {
			return nil, err
		}
	}
	server, err := registers.New(&machine, physics)
	if err != nil {
		return nil, err
	}
	field, err := fieldbus.NewInStep(&machine, slog.New(slog.DiscardHandler), server.Exchange)
	if err != nil {
		return nil, err
	}
	defer field.Close()
	core, err := control.New(&machine, control.Restored{})
	if err != nil {
		return nil, err
	}
	b := &bench{m: &machine, recipe: p.Recipe, test: &test, deed: d, server: server, periodS: float64(machine.Scan.PeriodS), lastHeatS: -1}
	if test.Kind == record.ProofTrip || test.Kind == record.ProofWatch {
		if b.meter, err = proof.NewMeter(&test); err != nil {
			return nil, err
		}
	}
	b.runner = control.NewRunner(field, b, core)
	b.runner.Sinks = []control.Sink{b}
	if err := b.runner.Run(ctx); err != nil && !errors.Is(err, errBenchOver) {
		return nil, err
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	return b.result(), b.err
}

// phase of a bench test.
type phase int

const (
	coldIdle phase = iota
	warming
	acting    // the deed is done, the effect is awaited
	standing  // the fault stands on
	resetting // it is gone; the reset is asked for until it is taken
	watching  // heat must not come back
)

// bench is a proof test between scans.
type bench struct {
	m       *profiles.Machine
	recipe  *profiles.Recipe
	test    *record.ProofTest
	deed    deed
	server  *registers.Server
	runner  *control.Runner
	meter   *proof.Meter
	periodS float64

	last    record.Scan
	err     error
	over    string // why it ended before its end; "" = it did not
	phase   phase
	sinceS  float64 // of this phase
	nowS    float64
	idleS   float64 // warm idle with heat so far
	askedS  float64
	deedS   float64
	onsetS  float64
	frozen  bool
	heat    bool
	closed  bool
	openedS float64 // when the contactor opened after the deed

	lastHeatS float64 // end of the last step with heat, or with the contactor closed, from the deed on
	heatAgain bool
	restless  bool // the drum turned when the emergency stop was released
	tripped   string
	state     string
}

func (b *bench) with(f func(*plant.Machine) error) (err error) {
	b.server.With(func(m *plant.Machine) { err = f(m) })
	return err
}

func (b *bench) post(k record.Kind) { b.order(record.Command{Kind: k}) }

func (b *bench) order(c record.Command) {
	c.Who, c.Local = "rehearsal", true
	b.runner.Post(control.Command{Command: c, Loaded: b.recipe})
}

func (b *bench) enter(p phase) { b.phase, b.sinceS = p, b.nowS }

func (b *bench) forS() float64 { return b.nowS - b.sinceS }

// Next lets the person act on what the last scan showed, then moves the machine
// to the next scan: by one period, or by more when the controller is frozen.
func (b *bench) Next(ctx context.Context) (control.Slot, error) {
	if err := ctx.Err(); err != nil {
		return control.Slot{}, err
	}
	over, err := b.act()
	if err == nil && over {
		err = errBenchOver
	}
	if err != nil {
		return control.Slot{}, err
	}
	missed := 0
	if b.phase == acting && b.deed.freezeS > 0 && !b.frozen {
		b.frozen = true
		missed = int(b.deed.freezeS / b.periodS)
	}
	for range 1 + missed {
		if err := b.server.Advance(b.periodS); err != nil {
			return control.Slot{}, err
		}
		b.nowS += b.periodS
		b.server.With(b.look)
	}
	by := time.Now().Add(5 * time.Second)
	return control.Slot{Missed: missed, ReadBy: by, DoneBy: by}, nil
}

// look follows the machine's truth.
func (b *bench) look(m *plant.Machine) {
	t := m.Truth()
	b.heat = t.AirHeaterW > 0 || t.RadiantW > 0
	opened := b.closed && !t.ContactorClosed
	b.closed = t.ContactorClosed
	switch b.phase {
	case acting, standing:
		switch there := b.deed.onset != nil && b.deed.onset(b, m); {
		case b.deed.onset == nil:
			b.onsetS = b.deedS
		case b.phase != acting: // the trip has come
		case !there: // a reading that only touched its limit
			b.onsetS = 0
		case b.onsetS == 0:
			b.onsetS = b.nowS - b.periodS // at the latest it was not there yet
		}
		// A pause of an on/off heater is not off while the contactor would let it on.
		if b.heat || b.closed && b.m.HasOut[point.HeatEnable] {
			b.lastHeatS = b.nowS
		}
		if opened && b.openedS == 0 {
			b.openedS = b.nowS
		}
	case resetting, watching:
		b.heatAgain = b.heatAgain || b.heat
		if b.phase == resetting && b.test.SafeState == "S6" {
			b.restless = b.restless || t.DrumTurning
		}
	}
}

// act is the person; it reports whether the test is over.
func (b *bench) act() (bool, error) {
	if b.err != nil {
		return true, nil
	}
	switch b.phase {
	case coldIdle:
		switch {
		case b.last.N == 0 || b.forS() < coldS:
			return false, nil
		case b.test.Heat == "off":
			return false, b.begin()
		}
		b.post(record.LoadRecipe)
		b.post(record.StartWarming)
		b.enter(warming)
	case warming:
		if b.last.Safety.Tripped {
			b.over = "before the test: trip " + b.last.Safety.First
			return true, nil
		}
		if b.last.Safety.HeatPermitted && b.heat {
			b.idleS += b.periodS
		}
		if b.idleS >= warmS {
			return false, b.begin()
		}
		if b.forS() > heatMaxS {
			b.over = "the heat did not come on: " + b.last.Safety.HeldBack
			return true, nil
		}
	case acting:
		switch {
		case b.test.Kind == record.ProofWatch:
			return b.meter.Done() || b.forS() > waitS, nil
		case b.last.Safety.Tripped:
			b.tripped, b.state = b.last.Safety.First, b.last.Safety.SafeState
			b.enter(standing)
		case b.onsetS > 0 && b.nowS-b.onsetS > 60:
			b.over = "no trip within a minute"
			return true, nil
		case b.forS() > waitS:
			b.over = "the fault did not come about"
			return true, nil
		}
	case standing:
		if b.forS() >= standS {
			if b.deed.undo != nil {
				if err := b.deed.undo(b); err != nil {
					return true, err
				}
			}
			b.enter(resetting)
		}
	case resetting:
		if !b.last.Safety.Tripped {
			b.enter(watching)
			return false, nil
		}
		if b.nowS-b.askedS >= 2 {
			b.askedS = b.nowS
			b.post(record.ResetTrip)
		}
		if b.forS() > resetMaxS {
			b.over = "the trip could not be reset"
			return true, nil
		}
	case watching:
		return b.forS() >= thereupon, nil
	}
	return false, nil
}

// begin does the deed.
func (b *bench) begin() error {
	b.deedS = b.nowS
	b.enter(acting)
	for _, c := range b.test.Before {
		b.order(c)
	}
	if b.deed.do != nil {
		return b.deed.do(b)
	}
	return nil
}

// Put takes the record of a scan.
func (b *bench) Put(s *record.Scan) {
	if b.meter != nil && !b.meter.Done() {
		b.meter.See(s)
	}
	b.last = *s
}

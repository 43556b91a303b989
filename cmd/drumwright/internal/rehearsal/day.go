package rehearsal

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"time"

	"drumwright/control"
	"drumwright/control/learn"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/fieldbus"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Fault is a fault that comes some time after the first charge.
type Fault struct {
	Name         string
	AfterChargeS float64
}

// Plan is what is to be played.
type Plan struct {
	Machine  *profiles.Machine
	Recipe   *profiles.Recipe
	Lessons  *learn.Lessons // of earlier batches; nil = none
	Seed     uint64
	Batches  int
	Faults   []Fault
	Mismatch plant.Mismatch // how the machine differs from its file
	Sinks    []control.Sink
	Tell     func(*record.Scan, record.Event)       // told of every event; may be nil
	Posted   func(scan uint64, c control.Command)   // told of every command and the scan that hears it; may be nil
	Through  func(control.Field) control.Field      // stands between controller and fieldbus; may be nil
	Beside   func(*Moment) (over bool)              // looks and acts before each scan, may end the day; may be nil
	Tape     func(*control.Controller) control.Tape // keeps the scans for replay; may be nil
	Restored control.Restored                       // what an earlier day has left
	Habits   Habits                                 // of the operator
	Wire     registers.WireFaults                   // errors on the buses, from the first scan on
	Warm     bool                                   // the machine is warm from the scan on that follows the first with all probes read
	Log      *slog.Logger
	AfterS   float64 // how long the day goes on after a trip
	DayS     float64 // shortest day: the machine stands cold, or tripped, for what is left of it
	MaxS     float64 // longest day, s of simulated time; 0 = 6 h
}

// Result is what came of it.
type Result struct {
	Batches      []Batch
	Trips        []Trip
	Scans        uint64
	Overruns     uint64
	Transactions uint64
	SimulatedS   float64
	WallS        float64
	FinalState   string
	HeatOffS     float64 // from the first fault to no heat at the machine, by its own truth; 0 without a fault
	HeatOn       bool    // heat still on at the end of a day with a fault
}

// Trip is one interlock that acted.
type Trip struct {
	Cause     string  `json:"cause"`
	SafeState string  `json:"safe_state"`
	AtS       float64 `json:"at_s"`           // scan time
	SinceS    float64 `json:"since_charge_s"` // of the batch it broke
	Text      string  `json:"text"`
}

var errDayOver = errors.New("the day is over")

// Run plays the plan.
func Run(ctx context.Context, p Plan) (*Result, error) {
	begin := time.Now()
	if p.Log == nil {
		p.Log = slog.New(slog.DiscardHandler)
	}
	if p.MaxS == 0 {
		p.MaxS = 6 * 3600
	}
	params := registers.ParamsFor(p.Machine).With(p.Mismatch)
	machine, err := plant.New(params, p.Seed)
	if err != nil {
		return nil, err
	}
	server, err := registers.New(p.Machine, machine)
	if err != nil {
		return nil, err
	}
	server.SetWireFaults(p.Wire)
	field, err := fieldbus.NewInStep(p.Machine, p.Log, server.Exchange)
	if err != nil {
		return nil, err
	}
	defer field.Close()
	core, err := control.New(p.Machine, p.Restored)
	if err != nil {
		return nil, err
	}
	d := &day{plan: p, server: server, moistureWB: params.MoistureWB, res: &Result{}}
	d.runner = control.NewRunner(through(p, field), &clock{control.Lockstep{Advance: d.advance}, d}, core)
	d.runner.Log = p.Log
	if p.Tape != nil {
		d.runner.Tape = p.Tape(core)
	}
	d.runner.Sinks = append([]control.Sink{d}, p.Sinks...)
	if err := d.runner.Run(ctx); err != nil && !errors.Is(err, errDayOver) {
		return nil, err
	}
	r := d.res
	r.Scans, r.Overruns, r.SimulatedS = d.last.N, d.last.Timing.Overruns, d.last.ScanS
	r.FinalState = d.last.State
	r.Transactions = field.Transactions()
	r.WallS = time.Since(begin).Seconds()
	r.HeatOffS, r.HeatOn = d.heatOffS, d.faultAtS > 0 && d.heatOffS == 0
	if err := ctx.Err(); err != nil {
		return r, err
	}
	return r, d.err
}

func through(p Plan, f control.Field) control.Field {
	if p.Through == nil {
		return f
	}
	return p.Through(f)
}

// day is the state of a rehearsal between scans.
type day struct {
	plan       Plan
	server     *registers.Server
	runner     *control.Runner
	moistureWB float64
	last       record.Scan
	res        *Result
	err        error

	person   person
	meter    meter
	nowS     float64
	missed   int // periods without a scan since the last
	warmed   bool
	injected []bool
	faultAtS float64
	heatOffS float64
	firstS   float64 // scan time of the first charge
	trippedS float64
}

// advance lets the person act on what the last scan showed, then moves the
// machine by one period.
func (d *day) advance() error {
	period := float64(d.plan.Machine.Scan.PeriodS)
	d.nowS += period
	if d.nowS > d.plan.MaxS {
		d.err = fmt.Errorf("the day did not end within %.0f s of simulated time: state %s, next: %s", d.plan.MaxS, d.last.State, d.last.Next)
		return errDayOver
	}
	if d.over() {
		return errDayOver
	}
	if err := d.inject(); err != nil {
		return err
	}
	if d.plan.Warm && !d.warmed && d.last.N > 0 && (d.seenCold() || d.last.N >= coldScans) {
		d.warmed = true
		d.server.With(func(m *plant.Machine) { m.WarmStart(warmFor(d.plan.Machine, d.plan.Recipe)) })
	}
	d.person.act(d)
	if d.beside() {
		return errDayOver
	}
	if err := d.server.Advance(period); err != nil {
		return err
	}
	d.server.With(func(m *plant.Machine) {
		t := m.Truth()
		if d.faultAtS > 0 && d.heatOffS == 0 && t.AirHeaterW == 0 && t.RadiantW == 0 {
			d.heatOffS = d.nowS - d.faultAtS
		}
		d.meter.truth(&t)
	})
	return nil
}

// coldScans is how long is waited for probes that may be broken from the start.
const coldScans = 20

// seenCold reports whether the controller has read every probe of the machine
// that it has: one that it had not would later be taken for a start on a hot
// machine.
func (d *day) seenCold() bool {
	for i := range point.NumInputs {
		if i.Role().Kind == point.Temperature && d.plan.Machine.HasIn[i] && !d.last.Image.In[i].Usable() {
			return false
		}
	}
	return true
}

// over reports whether the day is done: long enough, and all batches roasted and the
// machine cold again, or a trip long enough ago.
func (d *day) over() bool {
	if d.nowS < d.plan.DayS {
		return false
	}
	if d.trippedS > 0 {
		return d.nowS-d.trippedS > d.plan.AfterS
	}
	return d.person.done >= d.plan.Batches && d.last.State == "cold"
}

func (d *day) inject() error {
	if d.injected == nil {
		d.injected = make([]bool, len(d.plan.Faults))
	}
	if d.firstS == 0 {
		return nil
	}
	for i, f := range d.plan.Faults {
		if d.injected[i] || d.nowS < d.firstS+f.AfterChargeS {
			continue
		}
		d.injected[i] = true
		if d.faultAtS == 0 {
			d.faultAtS = d.nowS - float64(d.plan.Machine.Scan.PeriodS)
		}
		if f.Name == "unit_silent" {
			if err := d.server.Silence(point.Bean, true); err != nil {
				return err
			}
		}
		var err error
		d.server.With(func(m *plant.Machine) { err = m.Inject(f.Name) })
		if err != nil {
			return err
		}
	}
	return nil
}

// Put follows the day by the record of each scan.
func (d *day) Put(s *record.Scan) {
	for i := range s.NumEvents {
		e := s.Events[i]
		switch {
		case e.Kind == record.Trip:
			if d.trippedS == 0 {
				d.trippedS = s.ScanS
			}
			d.res.Trips = append(d.res.Trips, Trip{Cause: e.Name, SafeState: s.Safety.SafeState, AtS: s.ScanS, SinceS: s.Batch.SinceS, Text: e.Text})
		case e.Kind == record.Milestone && e.Name == record.MilestoneCharge && d.firstS == 0:
			d.firstS = s.ScanS - s.Batch.SinceS
		}
		if d.plan.Tell != nil {
			d.plan.Tell(s, e)
		}
	}
	if b := d.meter.put(s); b != nil {
		d.res.Batches = append(d.res.Batches, *b)
	}
	d.last = *s
}

// warmFor is where a preheat for the recipe brings the machine: panels that make
// up for what the drum loses, less what the air gives it.
func warmFor(m *profiles.Machine, r *profiles.Recipe) plant.Warm {
	const roomC = 22
	skin, inlet := float64(r.Charge.Skin), float64(r.Charge.Air)
	loss := float64(m.Bed.DrumLoss)*(skin-roomC) - float64(m.Bed.GasToDrum)*(inlet-skin)
	return plant.Warm{SkinC: skin, InletC: inlet, ExhaustC: skin, RadiantW: max(0, loss)}
}

// FaultNames lists the faults that a plan may hold.
func FaultNames() []string {
	var names []string
	for _, f := range plant.Faults() {
		names = append(names, f.Name)
	}
	return names
}

// KnownFault reports whether there is a fault of that name.
func KnownFault(name string) bool { return slices.Contains(FaultNames(), name) }

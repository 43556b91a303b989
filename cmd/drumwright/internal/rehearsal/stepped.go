package rehearsal

import (
	"context"
	"errors"
	"log/slog"
	"slices"
	"time"

	"drumwright/control"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/io/fieldbus"
	"drumwright/io/record"
	"drumwright/profiles"
)

// Stepped is controller and simulated machine on Modbus in lockstep, moved on by
// the caller scan by scan: for procedures in which a person reads, acts and
// reads again. It belongs to one goroutine.
type Stepped struct {
	m      *profiles.Machine
	server *registers.Server
	field  *fieldbus.Fieldbus
	runner *control.Runner
	next   chan struct{}
	after  chan struct{}
	ended  chan error
	cancel context.CancelFunc
	last   record.Scan
}

// NewStepped starts a cold machine and moves nothing yet.
func NewStepped(ctx context.Context, m *profiles.Machine, seed uint64) (*Stepped, error) {
	machine := *m
	machine.BusList = slices.Clone(m.BusList)
	physics, err := plant.New(registers.ParamsFor(&machine), seed)
	if err != nil {
		return nil, err
	}
	s := &Stepped{m: &machine, next: make(chan struct{}), after: make(chan struct{}), ended: make(chan error, 1)}
	if s.server, err = registers.New(&machine, physics); err != nil {
		return nil, err
	}
	if s.field, err = fieldbus.NewInStep(&machine, slog.New(slog.DiscardHandler), s.server.Exchange); err != nil {
		s.server.Close()
		return nil, err
	}
	core, err := control.New(&machine, control.Restored{})
	if err != nil {
		s.server.Close()
		return nil, errors.Join(err, s.field.Close())
	}
	s.runner = control.NewRunner(s.field, steppedClock{s}, core)
	s.runner.Sinks = []control.Sink{s}
	ctx, s.cancel = context.WithCancel(ctx)
	go func() { s.ended <- s.runner.Run(ctx) }()
	return s, nil
}

type steppedClock struct{ s *Stepped }

// Next waits until the caller moves on.
func (c steppedClock) Next(ctx context.Context) (control.Slot, error) {
	select {
	case <-ctx.Done():
		return control.Slot{}, ctx.Err()
	case <-c.s.next:
	}
	if err := c.s.server.Advance(float64(c.s.m.Scan.PeriodS)); err != nil {
		return control.Slot{}, err
	}
	by := time.Now().Add(5 * time.Second)
	return control.Slot{ReadBy: by, DoneBy: by}, nil
}

// Put takes a finished scan; the caller goes on.
func (s *Stepped) Put(r *record.Scan) {
	s.last = *r
	s.after <- struct{}{}
}

// Scan moves the machine on by one scan and gives its record, which is good
// until the next.
func (s *Stepped) Scan(ctx context.Context) (*record.Scan, error) {
	select {
	case s.next <- struct{}{}:
	case err := <-s.ended:
		return nil, err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	select {
	case <-s.after:
	case err := <-s.ended:
		return nil, err
	case <-ctx.Done():
		return nil, ctx.Err()
	}
	return &s.last, nil
}

// Order gives a command with the next scan and says what became of it.
func (s *Stepped) Order(ctx context.Context, c record.Command) (record.Answer, error) {
	c.Local = true
	s.runner.Post(control.Command{Command: c})
	r, err := s.Scan(ctx)
	if err != nil {
		return record.Answer{}, err
	}
	for _, e := range r.Events[:r.NumEvents] {
		if e.Name == string(c.Kind) && (e.Kind == record.Accepted || e.Kind == record.Rejected) {
			return record.Answer{Accepted: e.Kind == record.Accepted, Reason: e.Text}, nil
		}
	}
	return record.Answer{Reason: "no answer"}, nil
}

// Truth is what is really so at the machine.
func (s *Stepped) Truth() (t plant.Truth) {
	s.server.With(func(m *plant.Machine) { t = m.Truth() })
	return t
}

// With does something at the machine.
func (s *Stepped) With(f func(*plant.Machine)) { s.server.With(f) }

// Close ends controller and machine.
func (s *Stepped) Close() error {
	s.cancel()
	var err error
	for done := false; !done; {
		select {
		case err = <-s.ended:
			done = true
		case <-s.after: // a scan that was under way
		}
	}
	if errors.Is(err, context.Canceled) {
		err = nil
	}
	err = errors.Join(err, s.field.Close())
	s.server.Close()
	return err
}

package main

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"drumwright/io/record"
	"drumwright/safety/proof"
)

// measured prepares, watches and puts back a test that the program can see.
func (p *prover) measured(ctx context.Context, t *record.ProofTest) (proof.Finding, error) {
	var f proof.Finding
	for {
		if err := p.ready(ctx, t); err != nil {
			return f, err
		}
		var err error
		if f, err = p.watch(ctx, t); err != nil {
			return f, err
		}
		if f.Void == "" {
			break
		}
		p.say("That says nothing: %s.", f.Void)
		if t.Kind == record.ProofTrip {
			if err := p.reset(ctx, t, &f); err != nil {
				return f, err
			}
		}
		a, err := p.ask(ctx, "r to repeat it, s to skip, f if all was done as said and this is a failure:", "r", "s", "f")
		if err != nil {
			return f, err
		}
		if a == "s" {
			return f, errSkipped
		}
		if a == "f" {
			return proof.Finding{Seen: f.Void, MeasuredS: record.Unknown, ResolutionS: record.Unknown}, nil
		}
	}
	p.say("%s", wrapped("", "Seen: "+f.Seen+"."))
	if f.MeasuredS.Known() {
		p.say("Measured %.2f s, limit %s; read from scans up to %.2f s apart.", float64(f.MeasuredS), secondsText(t.LimitS), float64(f.ResolutionS))
	}
	if t.Kind == record.ProofTrip {
		return f, p.reset(ctx, t, &f)
	}
	return f, nil
}

// ready waits until the person is ready and the machine is as the test wants it.
func (p *prover) ready(ctx context.Context, t *record.ProofTest) error {
	prompt := "Enter when you are ready to begin, s to skip:"
	if t.Heat == "on" {
		prompt = "Prepare the machine, but do not do the last step yet.\nEnter when the heat is on and you are ready, s to skip:"
	}
	for {
		a, err := p.ask(ctx, prompt, "", "s")
		if err != nil {
			return err
		}
		if a == "s" {
			return errSkipped
		}
		s, err := p.idle(ctx)
		if err != nil {
			return err
		}
		switch {
		case s.Safety.Tripped:
			p.say("A trip stands: %s. Reset it first.", s.Safety.First)
		case t.Heat == "on" && !s.Safety.HeatPermitted:
			why := s.Safety.HeldBack
			if why == "" {
				why = s.Next
			}
			p.say("The heat is not on (%s): %s", s.State, why)
		case t.Heat == "off" && s.Safety.HeatPermitted:
			p.say("The heat is on: stop the machine first.")
		default:
			return nil
		}
	}
}

// watch follows the scans while the person does it.
func (p *prover) watch(ctx context.Context, t *record.ProofTest) (proof.Finding, error) {
	m, err := proof.NewMeter(t)
	if err != nil {
		return proof.Finding{}, err
	}
	ctx, cancel := context.WithTimeout(ctx, p.o.watchFor)
	defer cancel()
	events, err := p.d.events(ctx)
	if err != nil {
		return proof.Finding{}, err
	}
	s, err := p.d.scan(ctx)
	if err != nil {
		return proof.Finding{}, err
	}
	m.See(s)
	for _, c := range t.Before {
		if err := p.d.order(ctx, c, p.o.who); err != nil {
			return proof.Finding{}, err
		}
	}
	p.say("Watching the scans. Do it now.")
	tick := time.NewTicker(p.o.pollEvery)
	defer tick.Stop()
	for !m.Done() {
		select {
		case e, open := <-events:
			if !open {
				if ctx.Err() == nil {
					return proof.Finding{}, errors.New("the daemon has ended the stream")
				}
				return m.Finding(), p.after(t, nil)
			}
			if e.Kind == record.Trip.String() {
				p.say("%s", wrapped("  ", e.Text))
			}
		case <-tick.C:
			s, err := p.d.scan(ctx)
			if errors.Is(err, context.DeadlineExceeded) {
				continue
			}
			if err != nil {
				return proof.Finding{}, p.after(t, err)
			}
			m.See(s)
		}
	}
	return m.Finding(), p.after(t, nil)
}

// after takes the commands of the test back, whatever came of it. A command
// that a trip has made needless may be refused.
func (p *prover) after(t *record.ProofTest, err error) error {
	for _, c := range t.After {
		ctx, cancel := context.WithTimeout(context.Background(), daemonTime)
		e := p.d.order(ctx, c, p.o.who)
		cancel()
		var no refused
		if err == nil && e != nil && !errors.As(e, &no) {
			err = e
		}
	}
	return err
}

// calmS is for how long in scan time heat must stay off after a reset.
const calmS = 5.0

// reset has the fault taken out and the trip reset, and sees to it that no heat
// comes back by itself.
func (p *prover) reset(ctx context.Context, t *record.ProofTest, f *proof.Finding) error {
	if t.Restore != "" {
		p.say("%s", t.Restore)
		if _, err := p.ask(ctx, "Enter when that is done:", ""); err != nil {
			return err
		}
	}
	var s *record.Scan
	for {
		var err error
		if s, err = p.d.scan(ctx); err != nil {
			return err
		}
		if !s.Safety.Tripped {
			break
		}
		a, err := p.ask(ctx, "Look at the machine. Then press its reset button and Enter, or type reset:", "", "reset")
		if err != nil {
			return err
		}
		if a == "reset" {
			err := p.d.order(ctx, record.Command{Kind: record.ResetTrip}, p.o.who)
			var no refused
			switch {
			case errors.As(err, &no):
				p.say("Not reset: %s", no)
			case err != nil:
				return err
			}
		}
	}
	if !f.Pass && f.Void == "" && strings.HasPrefix(f.Seen, "no trip") {
		return nil // nothing was reset
	}
	p.say("Watching that no heat comes back by itself.")
	tick := time.NewTicker(p.o.pollEvery)
	defer tick.Stop()
	for from := s.ScanS; s.ScanS < from+calmS; {
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-tick.C:
		}
		var err error
		if s, err = p.d.scan(ctx); err != nil {
			return err
		}
		if s.Safety.HeatPermitted {
			f.Pass = false
			f.Seen += "; heat came back after the reset without being asked for"
			return nil
		}
	}
	f.Seen += fmt.Sprintf("; no heat in the %.0f s after the reset", calmS)
	return nil
}

package main

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"drumwright/io/record"
)

// sweptDrum is a cold drum that can be turned, with a person at its glass.
type sweptDrum interface {
	// turn asks for a skin speed, mm/s; 0 lets the drum stand.
	turn(ctx context.Context, skinMMS float64) error
	// pass lets time go by. While marks are watched for it ends at one.
	pass(ctx context.Context, s float64, watch bool) (marked bool, err error)
	// speed is the skin speed now as set, and as measured at the shaft; 0 if it is
	// not known.
	speed(ctx context.Context) (setMMS, measuredMMS float64, err error)
}

const (
	sweepMMPerS2 = 3.0  // slow enough for the bed to follow
	sweepStepS   = 0.5  // between two speeds
	settleS      = 60.0 // longest wait for the first speed
	nearShare    = 0.15 // the shaft is this close to it, for a motor slips
	steadyS      = 4.0  // for so long, some turns of the drum
)

var errNoMark = errors.New("no mark in the whole sweep")

// sweep brings the drum to one speed, moves it slowly to another, and gives the
// speed at which the person made a mark. The drum stands afterwards, whatever
// came of it.
func sweep(ctx context.Context, d sweptDrum, fromMMS, toMMS float64) (markMMS float64, err error) {
	defer func() {
		// Also when the person has broken off: a drum is not left turning.
		stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), daemonTime)
		defer cancel()
		if e := d.turn(stop, 0); err == nil && e != nil {
			err = e
		}
	}()
	var r slip
	there := 0.0
	for t := 0.0; there < steadyS; t += sweepStepS {
		if t > settleS {
			return 0, fmt.Errorf("the drum did not reach %.0f mm/s within %.0f s", fromMMS, settleS)
		}
		if err := d.turn(ctx, fromMMS); err != nil {
			return 0, err
		}
		if _, err := d.pass(ctx, sweepStepS, false); err != nil {
			return 0, err
		}
		set, measured, err := d.speed(ctx)
		if err != nil {
			return 0, err
		}
		if there += sweepStepS; math.Abs(set-fromMMS) > 0.5 || measured > 0 && math.Abs(measured-fromMMS) > nearShare*fromMMS {
			there = 0
			continue
		}
		r.add(set, measured)
	}
	step := math.Copysign(sweepMMPerS2*sweepStepS, toMMS-fromMMS)
	for v := fromMMS; (toMMS-v)*step >= 0; v += step {
		if err := d.turn(ctx, v); err != nil {
			return 0, err
		}
		marked, err := d.pass(ctx, sweepStepS, true)
		if err != nil {
			return 0, err
		}
		set, measured, err := d.speed(ctx)
		if err != nil {
			return 0, err
		}
		r.add(set, measured)
		if marked {
			return set * r.share(), nil
		}
	}
	return 0, errNoMark
}

// slip gathers how the speed at the shaft compares with the one set. Single
// readings of a shaft with few pulses are coarse; over a sweep they are not.
type slip struct{ set, measured float64 }

func (s *slip) add(setMMS, measuredMMS float64) {
	if measuredMMS > 0 {
		s.set += setMMS
		s.measured += measuredMMS
	}
}

func (s *slip) share() float64 {
	if s.set == 0 {
		return 1 // no shaft pulses: the drive's constant alone tells
	}
	return s.measured / s.set
}

// atGlass is the real drum behind the daemon, and the person at the terminal.
type atGlass struct {
	*terminal
	d   *localAPI
	who string
	s   time.Duration // a second at the machine
}

func (g *atGlass) turn(ctx context.Context, skinMMS float64) error {
	return g.d.order(ctx, record.Command{Kind: record.TurnDrum, SkinMMPerS: skinMMS}, g.who)
}

func (g *atGlass) pass(ctx context.Context, s float64, watch bool) (bool, error) {
	t := time.NewTimer(time.Duration(s * float64(g.s)))
	defer t.Stop()
	for {
		select {
		case <-ctx.Done():
			return false, ctx.Err()
		case <-t.C:
			return false, nil
		case a, ok := <-g.lines:
			switch {
			case !ok:
				return false, errNoInput
			case a == "q":
				return false, errEnough
			case watch:
				return true, nil
			}
			g.say("Not yet: the drum is on its way to the first speed.")
		}
	}
}

func (g *atGlass) speed(ctx context.Context) (setMMS, measuredMMS float64, err error) {
	var v record.View
	if err := g.d.get(ctx, "/api/v1/state", &v); err != nil {
		return 0, 0, err
	}
	measured := v.Drum.MeasuredMMPerS
	if !measured.Known() {
		measured = 0
	}
	return float64(v.Drum.SetMMPerS), float64(measured), nil
}

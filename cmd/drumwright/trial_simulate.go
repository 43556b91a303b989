package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"time"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/control/drum"
	"drumwright/io/record"
	"drumwright/profiles"
)

// madeUpPerson marks the speeds of a law of its own, with the scatter of a pair
// of eyes. Invented, for the simulation only.
type madeUpPerson struct {
	law     func(lossFrac float64) float64
	scatter float64 // share of the speed, standard deviation
	rng     *rand.Rand
}

// The made-up person: best green speed as a share of the expected one, fall with
// loss, and scatter of a mark.
const personShare, personDecay, personScatter = 0.97, 1.75, 0.01

func newMadeUpPerson(greenMMS float64, seed uint64) *madeUpPerson {
	return &madeUpPerson{
		law:     func(x float64) float64 { return personShare * greenMMS * math.Exp(-personDecay*x) },
		scatter: personScatter, rng: rand.New(rand.NewPCG(seed, 0x7121a1)),
	}
}

// steppedDrum is the simulated drum with the made-up person at its glass.
type steppedDrum struct {
	*rehearsal.Stepped
	m       *profiles.Machine
	drive   drum.Drive
	markMMS float64 // what the person waits for in this sweep
	rising  bool
	last    record.Drum
}

func (s *steppedDrum) turn(ctx context.Context, skinMMS float64) error {
	a, err := s.Order(ctx, record.Command{Kind: record.TurnDrum, SkinMMPerS: skinMMS, Who: "simulation"})
	if err == nil && !a.Accepted {
		err = errors.New(a.Reason)
	}
	return err
}

func (s *steppedDrum) pass(ctx context.Context, seconds float64, watch bool) (bool, error) {
	for t := 0.0; t < seconds; t += float64(s.m.Scan.PeriodS) {
		r, err := s.Scan(ctx)
		if err != nil {
			return false, err
		}
		if r.Safety.HeatPermitted || r.Safety.Tripped {
			return false, fmt.Errorf("heat or a trip in a cold trial: %s", r.Safety.First)
		}
		s.last = r.Drum
		if v := s.drive.SkinFromRPM(s.Truth().DrumRPM); watch && (s.rising && v >= s.markMMS || !s.rising && v <= s.markMMS) {
			return true, nil
		}
	}
	return false, nil
}

func (s *steppedDrum) speed(context.Context) (setMMS, measuredMMS float64, err error) {
	return s.last.SetMMPerS, s.last.MeasuredMMPerS, nil
}

// simulated makes the trial on the simulated machine.
func (o *trialOptions) simulated(ctx context.Context, d *drumInputs, m *profiles.Machine, limits drum.SpeedRange, w io.Writer) (*trialFile, error) {
	if !o.asJSON {
		if err := o.plan(d, limits, w); err != nil {
			return nil, err
		}
	}
	stepped, err := rehearsal.NewStepped(ctx, m, o.seed)
	if err != nil {
		return nil, err
	}
	file, err := o.play(ctx, &steppedDrum{Stepped: stepped, m: m, drive: drum.Drive{RadiusMM: d.setup.RadiusMM.Value, SkinMMSPerHz: d.setup.SkinMMSPerHz.Value}}, d, limits)
	if err = errors.Join(err, stepped.Close()); err != nil {
		return nil, err
	}
	if !o.asJSON {
		fmt.Fprintf(w, "\nPlayed on the simulated machine by a made-up person whose best speeds are %.1f mm/s × exp(−%g × loss), each mark off by about %g %%.\nThis says nothing about a real drum.\n",
			personShare*d.stages[0].SkinMMS.Value, personDecay, 100*personScatter)
	}
	return file, nil
}

func (o *trialOptions) play(ctx context.Context, s *steppedDrum, d *drumInputs, limits drum.SpeedRange) (*trialFile, error) {
	person := newMadeUpPerson(d.stages[0].SkinMMS.Value, o.seed)
	file := &trialFile{Trial: o.header(d, s.m, time.Now())}
	if file.Trial.Who == "" {
		file.Trial.Who = "simulation"
	}
	if _, err := s.pass(ctx, 5, false); err != nil { // until every probe has been read
		return nil, err
	}
	for _, st := range d.stages {
		x := st.LossFrac
		out := trialStage{Name: st.Name, LossPercent: 100 * x, LoadedG: d.setup.BatchG.Value * (1 - x),
			BulkKgPerM3: math.Round(drum.BulkAt(d.setup.GreenKgPerM3.Value, d.setup.RoastedKgPerM3.Value, x))}
		lo, hi := limits.Around(st.SkinMMS.Value)
		for i := range o.repeats {
			s.rising = i%2 == 0
			from, to := lo, hi
			if !s.rising {
				from, to = hi, lo
			}
			s.markMMS = person.law(x) * (1 + person.scatter*person.rng.NormFloat64())
			v, err := sweep(ctx, s, from, to)
			if err != nil {
				return nil, fmt.Errorf("%s, sweep %d: %w", st.Name, i+1, err)
			}
			out.MarksMMS = append(out.MarksMMS, math.Round(10*v)/10)
		}
		file.Stages = append(file.Stages, out)
	}
	return file, nil
}

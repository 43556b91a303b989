package report

import (
	"fmt"
	"math"
	"time"

	"drumwright/io/point"
	"drumwright/io/record"
)

// Session is what one report shows.
type Session struct {
	Machine, Site, Recipe, Note string
	Start                       time.Time // zero = not known; printed in its own zone
	Batches                     []Batch
	Remarks                     []string
}

// Batch is one batch of the session.
type Batch struct {
	ID      uint64
	Samples []Sample // one a second, in order of S
	Events  []Event  // printed in order of S, those of one moment as they stand here
	Figures []Figure
}

// Figure is one number of the table of figures, already rounded for people.
type Figure struct{ Name, Value, Unit string }

// Event is one line of the table of events. Milestones and trips are drawn
// into the plots as well.
type Event struct {
	S    float64 // seconds since charge; NaN = not known
	Kind record.EventKind
	Name string
	Text string
}

// Sample is one second of a batch. NaN means not known.
type Sample struct {
	S float64 // seconds since charge

	ProbeC, TargetC           float64
	TrueC, TrueSdC            float64 // estimated bean temperature, its standard deviation
	InletC, InletSetC         float64
	SkinC, SkinSetC           float64
	ExhaustC                  float64
	RateKPerMin               float64 // estimated rate of rise
	Loss, LossSd              float64 // estimated, share of green mass
	DrumMMPerS, DrumSetMMPerS float64
	FlowKgPerH                float64
	AirDuty, RadiantDuty      float64 // share of rated power, 0..1
}

// SampleOf takes from a scan what the report draws. A probe that is not usable,
// a set point of a loop that is off and an estimate that is not being made are
// NaN. A duty is 0 while the gate permits no heat, whatever the loop asked.
func SampleOf(s *record.Scan) Sample {
	in, b := &s.Image.In, &s.Bean
	read := func(i ...point.Input) float64 {
		for _, i := range i {
			if in[i].Usable() {
				return in[i].V
			}
		}
		return math.NaN()
	}
	est := !b.EstimatorOff
	duty := func(l *record.Loop) float64 {
		if !s.Safety.HeatPermitted {
			return 0
		}
		return l.Duty
	}
	return Sample{
		S:             s.Batch.SinceS,
		ProbeC:        read(point.Bean, point.Bean2),
		TargetC:       given(b.TargetC != 0, b.TargetC),
		TrueC:         given(est, b.TrueC),
		TrueSdC:       given(est, b.TrueSdC),
		InletC:        read(point.InletAir),
		InletSetC:     given(s.Air.Mode != record.Off, s.Air.SetC),
		SkinC:         read(point.DrumSkin, point.DrumSkin2),
		SkinSetC:      given(s.Base.Mode != record.Off, s.Base.SetC),
		ExhaustC:      read(point.Exhaust),
		RateKPerMin:   given(est, 60*b.RateKPerS),
		Loss:          given(est, b.Loss),
		LossSd:        given(est, b.LossSd),
		DrumMMPerS:    given(s.Drum.MeasuredMMPerS != 0, s.Drum.MeasuredMMPerS),
		DrumSetMMPerS: s.Drum.SetMMPerS,
		FlowKgPerH:    s.Drum.FlowKgPerH,
		AirDuty:       duty(&s.Air),
		RadiantDuty:   duty(&s.Base),
	}
}

func given(ok bool, v float64) float64 {
	if !ok {
		return math.NaN()
	}
	return v
}

// known reports whether v is a number that a roaster can have; beyond 1e9, in
// any unit used here, it is rubbish that would only flatten the plots.
func known(v float64) bool { return math.Abs(v) <= 1e9 }

// check finds what would make a time axis nonsense.
func (b *Batch) check() error {
	for i := range b.Samples {
		switch s := b.Samples[i].S; {
		case !known(s):
			return fmt.Errorf("report: batch %d, sample %d: S is %v, must be a number of seconds since charge", b.ID, i, s)
		case i > 0 && s <= b.Samples[i-1].S:
			return fmt.Errorf("report: batch %d, sample %d: S is %v after %v, must grow; sort the samples and keep one a second",
				b.ID, i, s, b.Samples[i-1].S)
		}
	}
	return nil
}

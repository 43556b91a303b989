package tune

import (
	"fmt"
	"math"
)

// Method is the kind of an experiment.
type Method uint8

// The methods.
const (
	Steps Method = iota // power up, down and back: tells gain, lags and dead time
	Relay               // power up and down by the reading: an oscillation that stays small
)

func (m Method) String() string { return [...]string{"step", "relay"}[m] }

// MethodNamed finds a method by its name.
func MethodNamed(name string) (Method, bool) {
	for m := Steps; m <= Relay; m++ {
		if m.String() == name {
			return m, true
		}
	}
	return 0, false
}

// Plan is what an experiment may do.
type Plan struct {
	Method    Method
	Amplitude float64 // change of the duty up and down from rest, share of rated power
	MaxDuty   float64 // highest duty of the heater, share
	LimitK    float64 // departure of the temperature from rest that ends it
	PeriodS   float64 // scan period
	RestS     float64 // time at rest, under automatic control, before anything moves
	LegS      float64 // longest time of one step
	TotalS    float64 // longest time of all
}

// Bounds of a plan.
const (
	LeastAmplitude, MostAmplitude = 0.01, 0.30
	LeastLimitK, MostLimitK       = 3.0, 40.0
)

// Validate reports every value that cannot work.
func (p Plan) Validate() error {
	switch {
	case !(p.Amplitude >= LeastAmplitude && p.Amplitude <= MostAmplitude):
		return fmt.Errorf("experiment: amplitude %g of rated power; allowed is %g to %g", p.Amplitude, LeastAmplitude, MostAmplitude)
	case !(p.LimitK >= LeastLimitK && p.LimitK <= MostLimitK):
		return fmt.Errorf("experiment: limit %g K; allowed is %g to %g K from the temperature at rest", p.LimitK, LeastLimitK, MostLimitK)
	case !(p.MaxDuty > 0 && p.MaxDuty <= 1) || !(p.PeriodS > 0) || !(p.RestS > 0) || !(p.LegS > 0) || !(p.TotalS > p.RestS):
		return fmt.Errorf("experiment: highest duty %g, period %g s, rest %g s, leg %g s, total %g s; allowed is a duty above 0 to 1 and times above 0, the total above the rest", p.MaxDuty, p.PeriodS, p.RestS, p.LegS, p.TotalS)
	}
	return nil
}

// Phase is where an experiment is.
type Phase uint8

// The phases.
const (
	Idle    Phase = iota
	Resting       // the loop controls; temperature and duty are averaged
	Up            // duty above rest
	Down          // duty below rest
	Back          // duty at rest again
	Over          // ended; Why says how
)

func (p Phase) String() string {
	return [...]string{"", "rest", "up", "down", "back", "over"}[p]
}

const (
	// turnShare of LimitK ends a step: what heat is stored behind it goes on.
	turnShare = 0.3
	// Rest is rest when the two halves of its time differ by no more.
	restDriftK    = 0.4
	restDriftDuty = 0.012
	// leastMoveK must have come before a temperature can have settled: behind two
	// lags it hardly moves at first.
	leastMoveK = 1.0
	// Relay: hysteresis in noise and at least, and cycles.
	hystNoise, leastHystK = 3.0, 0.4
	leastCycles           = 3
	mostCycles            = 8
	samePeriod            = 0.05 // successive cycles that agree this well are the oscillation
	sameAmplitude         = 0.10
	// leastRoom is the share of the asked amplitude that there must be room for.
	leastRoom = 0.3
)

// Experiment leads one experiment. Start, then Step in every scan.
type Experiment struct {
	plan  Plan
	phase Phase
	why   string
	done  bool // it came to its end by itself

	sinceS, legS float64 // of all, and of this phase
	upS          float64 // how long the first step took

	half [2]sums // of the rest
	last float64
	seen bool

	baseC, baseDuty, noiseK, amplitude float64

	// Steps: means of stretches that grow, to see whether it has settled.
	stretch  sums
	stretchC float64
	stretchS float64 // when the stretch ends, within the leg
	// Relay.
	high, low float64
	cycleS    float64 // time of the cycle so far
	cycles    int
	cycle     [2]Cycle // the last but one, the last
}

type sums struct{ n, c, duty, diff2 float64 }

func (s *sums) meanC() float64 { return s.c / s.n }

// Cycle is one oscillation under a relay.
type Cycle struct{ PeriodS, AmplitudeK float64 }

// Start begins; whatever ran before is forgotten.
func (e *Experiment) Start(p Plan) error {
	if err := p.Validate(); err != nil {
		return err
	}
	*e = Experiment{plan: p, phase: Resting}
	return nil
}

// Active reports whether an experiment runs.
func (e *Experiment) Active() bool { return e.phase != Idle && e.phase != Over }

// Moving reports whether the duty is the experiment's, not the loop's.
func (e *Experiment) Moving() bool { return e.phase >= Up && e.phase <= Back }

// End ends it for a reason from outside.
func (e *Experiment) End(why string) {
	if e.Active() {
		e.phase, e.why = Over, why
	}
}

// View is what an experiment shows.
type View struct {
	Phase                   Phase
	Why                     string // how it ended
	Done                    bool   // it came to its end by itself
	SinceS                  float64
	BaseC, NoiseK           float64
	BaseDuty, Duty, UpShare float64
	HysteresisK             float64 // relay
	Cycles                  int
	Cycle                   Cycle // the last
}

// View gives its present state.
func (e *Experiment) View() View {
	v := View{Phase: e.phase, Why: e.why, Done: e.done, SinceS: e.sinceS, BaseC: e.baseC, NoiseK: e.noiseK, BaseDuty: e.baseDuty,
		Duty: e.duty(), UpShare: e.amplitude, Cycles: e.cycles, Cycle: e.cycle[1]}
	if e.plan.Method == Relay {
		v.HysteresisK = e.hystK()
	}
	return v
}

func (e *Experiment) hystK() float64 { return max(leastHystK, hystNoise*e.noiseK) }

func (e *Experiment) duty() float64 {
	switch e.phase {
	case Up:
		return e.baseDuty + e.amplitude
	case Down:
		return e.baseDuty - e.amplitude
	}
	return e.baseDuty
}

// Step moves on by one scan. measuredC is the loop's reading, duty what the
// loop last put out in automatic. The result is the duty to put out, of meaning
// while Moving.
func (e *Experiment) Step(measuredC, duty float64) float64 {
	if !e.Active() {
		return 0
	}
	if math.IsNaN(measuredC) || math.IsNaN(duty) {
		return e.duty() // how long to bear it is the caller's decision
	}
	e.sinceS += e.plan.PeriodS
	e.legS += e.plan.PeriodS
	switch {
	case e.Moving() && math.Abs(measuredC-e.baseC) > e.plan.LimitK:
		e.End("the temperature left the limit of the experiment")
	case e.sinceS > e.plan.TotalS:
		e.End("the time of the experiment is over")
	case e.phase == Resting:
		e.rest(measuredC, duty)
	case e.plan.Method == Steps:
		e.steps(measuredC)
	default:
		e.relay(measuredC)
	}
	return e.duty()
}

func (e *Experiment) enter(p Phase) {
	e.phase, e.legS = p, 0
	e.stretch, e.stretchS, e.stretchC = sums{}, 0, math.NaN()
}

func (e *Experiment) rest(c, duty float64) {
	i := 0
	if e.legS > e.plan.RestS/2 {
		i = 1
	}
	h := &e.half[i]
	h.n, h.c, h.duty = h.n+1, h.c+c, h.duty+duty
	if e.seen {
		h.diff2 += (c - e.last) * (c - e.last)
	}
	e.last, e.seen = c, true
	if e.legS < e.plan.RestS {
		return
	}
	a, b := &e.half[0], &e.half[1]
	if a.n == 0 || b.n == 0 {
		e.End("the time at rest is shorter than two scans")
		return
	}
	n := a.n + b.n
	noise := math.Sqrt((a.diff2 + b.diff2) / n / 2)
	if math.Abs(a.meanC()-b.meanC()) > restDriftK || math.Abs(a.duty/a.n-b.duty/b.n) > restDriftDuty {
		e.half, e.legS = [2]sums{}, 0 // not at rest yet: once more
		return
	}
	e.baseC, e.baseDuty, e.noiseK = (a.c+b.c)/n, (a.duty+b.duty)/n, noise
	e.amplitude = min(e.plan.Amplitude, e.baseDuty, e.plan.MaxDuty-e.baseDuty)
	if e.amplitude < leastRoom*e.plan.Amplitude {
		e.End("the heater is too close to an end of its range to move it both ways")
		return
	}
	e.high, e.low = c, c
	e.enter(Up)
}

// steps goes up until the temperature has settled or gone far enough, down for
// the same time, and stays back for the same time.
func (e *Experiment) steps(c float64) {
	switch {
	case e.phase == Up && (e.legS >= e.plan.LegS || math.Abs(c-e.baseC) >= turnShare*e.plan.LimitK || e.settled(c)):
		e.upS = e.legS
		e.enter(Down)
	case e.phase == Down && e.legS >= e.upS:
		e.enter(Back)
	case e.phase == Back && e.legS >= e.upS:
		e.phase, e.why, e.done = Over, "done", true
	}
}

// settled compares the means of stretches of time, each a quarter longer than
// the time before it.
func (e *Experiment) settled(c float64) bool {
	if e.stretchS == 0 {
		e.stretchS = 8
	}
	e.stretch.n, e.stretch.c = e.stretch.n+1, e.stretch.c+c
	if e.legS < e.stretchS {
		return false
	}
	mean := e.stretch.meanC()
	moved, still := math.Abs(mean-e.baseC), math.Abs(mean-e.stretchC)
	noise := e.noiseK / math.Sqrt(e.stretch.n)
	e.stretch, e.stretchC = sums{}, mean
	e.stretchS *= 1.25
	return moved > max(leastMoveK, 6*e.noiseK) && still < max(0.03*moved, 2*noise)
}

// relay turns the duty round whenever the reading has crossed its value at rest
// by the hysteresis.
func (e *Experiment) relay(c float64) {
	e.high, e.low = max(e.high, c), min(e.low, c)
	e.cycleS += e.plan.PeriodS
	switch {
	case e.phase == Up && c > e.baseC+e.hystK():
		e.enter(Down)
	case e.phase == Down && c < e.baseC-e.hystK():
		e.enter(Up)
		e.cycles++
		e.cycle[0], e.cycle[1] = e.cycle[1], Cycle{PeriodS: e.cycleS, AmplitudeK: (e.high - e.low) / 2}
		e.cycleS, e.high, e.low = 0, c, c
		a, b := e.cycle[0], e.cycle[1]
		same := math.Abs(a.PeriodS-b.PeriodS) <= samePeriod*b.PeriodS && math.Abs(a.AmplitudeK-b.AmplitudeK) <= sameAmplitude*b.AmplitudeK
		if e.cycles >= mostCycles || (e.cycles >= leastCycles && same) {
			e.phase, e.why, e.done = Over, "done", true
		}
	}
}

package control

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"drumwright/control/learn"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

// Field is the machine as the runner sees it. Both calls return by the deadline
// whatever the buses do; what was not read in time says so by its quality.
type Field interface {
	Read(ctx context.Context, nowS float64, deadline time.Time, img *point.Image)
	Write(ctx context.Context, deadline time.Time, p *safety.Permit) error
}

// Sink takes the record of a scan. Put copies what it needs and never blocks.
type Sink interface {
	Put(*record.Scan)
}

// Tape keeps scans for replay. Decided is called after each Step with what reached
// it beside image and time, and its record; it copies what it needs and never
// blocks.
type Tape interface {
	Decided(c *Controller, h *Heard, rec *record.Scan)
}

// Clock keeps the rhythm. Next waits for the next scan and says how late it
// begins, how many whole periods were missed, and how long reading and the
// whole scan may take. It returns the context's error when that is done.
type Clock interface {
	Next(ctx context.Context) (Slot, error)
}

// Slot is one turn of the clock.
type Slot struct {
	LatenessS float64
	Missed    int
	ReadBy    time.Time
	DoneBy    time.Time
}

// Runner runs the scan: wait, read, decide, write, record.
type Runner struct {
	Field     Field
	Clock     Clock
	Core      *Controller
	Sinks     []Sink
	Recipes   func(name string) (*profiles.Recipe, error) // finds a recipe by name; runs on the caller's goroutine
	Lessons   func(*profiles.Recipe) *learn.Lessons       // of earlier batches, for a recipe that is about to be loaded; likewise; nil = none
	Preflight Foresees                                    // foresees a recipe that is about to be loaded; likewise
	Latches   func([]string)                              // told when the latched causes change; must not block
	Bars      func() Bar                                  // what stands in the way of a new roast; must not block; nil = nothing
	Tape      Tape                                        // nil = none
	Monitor   *Monitor                                    // turns heat off when a scan hangs; nil = none, for simulated time

	Log *slog.Logger

	asked   chan *request
	stopped chan struct{} // closed when Run has ended
	failing bool          // writes failed in the last scan
	cuts    uint64        // times that the monitor has turned heat off, as far as this scan knows
	rec     record.Scan
	unheard [point.NumOutputs]bool // by the last Write
	cmds    [16]Command
	heard   Heard
	reqs    [16]*request
}

// Foresees is a preflight of a recipe with what earlier batches of it have taught
// (nil = nothing).
type Foresees func(*profiles.Recipe, *learn.Lessons) record.Forecast

type request struct {
	cmd  Command
	done chan record.Answer
	gone <-chan struct{} // closed when nobody waits for the answer any more; nil = not before it comes
	by   time.Time       // until when somebody waits; zero = for as long as it takes
}

// abandoned reports whether whoever asked has been told that there is no answer:
// what comes late, as after a scan that hung, may find nobody at the machine.
func (q *request) abandoned() bool {
	select {
	case <-q.gone:
		return true
	default:
		return !q.by.IsZero() && time.Now().After(q.by)
	}
}

// NewRunner makes a runner; fill in the rest of its fields before Run.
func NewRunner(field Field, clock Clock, core *Controller) *Runner {
	return &Runner{Field: field, Clock: clock, Core: core, Log: slog.New(slog.DiscardHandler), asked: make(chan *request, 64), stopped: make(chan struct{})}
}

// Do hands a command to the next scan and waits for its answer. A recipe is
// read and checked before that, so that no file is opened in a scan. When ctx ends
// first, the command is not carried out, unless a scan has begun with it.
func (r *Runner) Do(ctx context.Context, cmd record.Command) record.Answer {
	req := &request{cmd: Command{Command: cmd}, done: make(chan record.Answer, 1), gone: ctx.Done()}
	req.by, _ = ctx.Deadline()
	if cmd.Kind == record.LoadRecipe {
		if r.Recipes == nil {
			return record.Answer{Reason: "no recipe folder is set"}
		}
		recipe, err := r.Recipes(cmd.Recipe)
		if err != nil {
			return record.Answer{Reason: err.Error()}
		}
		req.cmd.Loaded = recipe
		if r.Lessons != nil {
			req.cmd.Lessons = r.Lessons(recipe)
		}
		if r.Preflight != nil {
			req.cmd.Forecast = r.Preflight(recipe, req.cmd.Lessons)
		}
	}
	if !r.post(req) {
		return record.Answer{Reason: "too many commands are waiting: try again"}
	}
	select {
	case a := <-req.done:
		return a
	case <-r.stopped:
		select {
		case a := <-req.done: // it was among the last
			return a
		default:
			return record.Answer{Reason: "the controller has stopped"}
		}
	case <-ctx.Done():
		return record.Answer{Reason: "no answer from the controller: " + ctx.Err().Error()}
	}
}

func (r *Runner) post(req *request) bool {
	select {
	case r.asked <- req:
		return true
	default:
		return false
	}
}

// Post hands a command to the next scan without waiting; its answer is among
// the events of the record. It is for scripted operators that run between
// scans. It reports whether the queue had room.
func (r *Runner) Post(cmd Command) bool {
	return r.post(&request{cmd: cmd, done: make(chan record.Answer, 1)})
}

// unheardIn says which outputs a failed write names. control does not know the
// package that writes; an error that names none leaves it to the inputs' age.
func unheardIn(err error) [point.NumOutputs]bool {
	var named interface {
		error
		Unacknowledged() [point.NumOutputs]bool
	}
	if errors.As(err, &named) {
		return named.Unacknowledged()
	}
	return [point.NumOutputs]bool{}
}

// note logs failing writes on their edges; the gate is told of them in the next
// scan.
func (r *Runner) note(err error) {
	if failing := err != nil; failing != r.failing {
		r.failing = failing
		if failing {
			r.Log.Warn("outputs not acknowledged", "err", err)
		} else {
			r.Log.Info("outputs acknowledged again")
		}
	}
}

// latchCount changes whenever a cause latches or is reset, also when both
// happen in one scan.
type latchCount struct {
	n     int
	trips uint64
}

// stopWrite is how long writing heat off may take when the runner ends.
const stopWrite = 300 * time.Millisecond

// Run scans until the context ends. Heat is written off before the first scan
// and again, first of all, when it ends, also when a scan panics. It runs once.
func (r *Runner) Run(ctx context.Context) (err error) {
	off := func() {
		p := safety.HeatOff()
		c, cancel := context.WithTimeout(context.WithoutCancel(ctx), stopWrite)
		defer cancel()
		if err := r.Field.Write(c, time.Now().Add(stopWrite), &p); err != nil {
			r.Log.Error("heat off not acknowledged", "err", err)
		}
	}
	off()
	defer close(r.stopped)
	if r.Monitor != nil {
		defer r.Monitor.start()()
	}
	defer off()

	period := float64(r.Core.m.Scan.PeriodS)
	rec := &r.rec
	rec.Timing.PeriodS = period
	latches := latchCount{n: r.Core.gate.NumLatched()}
	var img point.Image
	for {
		slot, err := r.Clock.Next(ctx)
		if err != nil {
			if errors.Is(err, context.Canceled) {
				return nil
			}
			return fmt.Errorf("scan clock: %w", err)
		}
		begin := time.Now()
		rec.N++
		rec.UnixNano = begin.UnixNano()
		gapS := period * float64(1+slot.Missed)
		cut := r.cut()
		if cut { // the gate is to see the gap, on whatever side of its limit the clock rounds
			gapS = max(gapS, max(float64(r.Core.m.Limits.ScanLateS), leastPeriods*period)+period)
		}
		nowS := rec.ScanS + gapS
		rec.Timing.LatenessS = slot.LatenessS
		rec.Timing.Overruns += uint64(slot.Missed)

		r.Field.Read(ctx, nowS, slot.ReadBy, &img)
		read := time.Now()
		n := r.collect()
		if r.Bars != nil {
			r.Core.Bar(r.Bars())
		}
		r.Core.Unacknowledged(r.unheard)
		permit := r.Core.Step(nowS, &img, r.cmds[:n], rec)
		step := time.Now()
		if r.Tape != nil { // before what others than Step add to the record
			r.heard = Heard{Bar: r.Core.bar, Unacknowledged: r.unheard, Commands: r.cmds[:n]}
			r.Tape.Decided(r.Core, &r.heard, rec)
		}
		if cut {
			rec.Add(record.Event{Kind: record.Warning, Name: "scan-stuck", Text: "No permit was written for too long: heat was turned off apart from the scan.", Value: gapS, Limit: r.Monitor.Limit.Seconds()})
		}
		if r.overtaken() { // what was decided before the gap heats nothing after it
			permit = safety.HeatOff()
			rec.Safety.HeatPermitted = false
			for o := range point.NumOutputs {
				if safety.IsHeat(o) {
					rec.Permit[o] = 0
				}
			}
		}
		if err := r.Field.Write(ctx, slot.DoneBy, &permit); ctx.Err() == nil { // told to end: heat off follows
			r.unheard = unheardIn(err)
			r.note(err)
		}
		if r.Monitor != nil {
			r.Monitor.permitted()
		}
		rec.Timing.ReadS = read.Sub(begin).Seconds()
		rec.Timing.StepS = step.Sub(read).Seconds()
		rec.Timing.WriteS = time.Since(step).Seconds()

		if r.Latches != nil {
			if now := (latchCount{r.Core.gate.NumLatched(), rec.Safety.Trips}); now != latches {
				latches = now
				r.Latches(r.Core.Latched())
			}
		}
		for i := range n {
			r.reqs[i].done <- r.cmds[i].Answer
		}
		for _, s := range r.Sinks {
			s.Put(rec)
		}
	}
}

// cut reports whether the monitor has turned heat off since it was last asked.
func (r *Runner) cut() bool {
	if !r.overtaken() {
		return false
	}
	r.cuts, _ = r.Monitor.Cuts()
	return true
}

// overtaken reports whether the monitor has turned heat off since cut was asked.
func (r *Runner) overtaken() bool {
	if r.Monitor == nil {
		return false
	}
	n, _ := r.Monitor.Cuts()
	return n != r.cuts
}

// collect takes the commands that are waiting, as many as a scan takes. What
// nobody waits for any more is left out, unless it can only make things safer.
func (r *Runner) collect() int {
	n := 0
	for n < len(r.cmds) {
		select {
		case req := <-r.asked:
			if req.abandoned() && !req.cmd.Kind.Soothes() {
				continue
			}
			r.cmds[n], r.reqs[n] = req.cmd, req
			n++
		default:
			return n
		}
	}
	return n
}

package wiring

import (
	"context"
	"fmt"
	"math"
	"strings"

	"drumwright/io/point"
)

const (
	slowShare   = 0.1  // of the highest frequency at which a drive is tried first: a scale off by ten cannot overspeed it
	slowS       = 12.0 // for how long
	pulseShare  = 0.1  // of rated power in the first pulse of a heater
	pulseS      = 5.0
	afterS      = 20.0 // in which what the heater warmed must show
	warmLimitC  = 60.0 // no probe may be warmer before a heater is tried
	heaterRoseK = 2.0
	stopS       = 6.0
)

type asks = map[point.Output]float64

// drive tries the outputs one after the other, heat last.
func (w *Walk) drive(ctx context.Context) (err error) {
	defer func() { // nothing is left running, also when the person has broken off
		stop, cancel := context.WithTimeout(context.WithoutCancel(ctx), patience)
		defer cancel()
		if e := w.s.hold(stop, 1, nil, nil); err == nil {
			err = e
		}
	}()
	if err := w.s.hold(ctx, 2, nil, nil); err != nil {
		return err
	}
	for _, step := range [...]func(context.Context) error{w.tryDrum, w.tryBlower, w.tryFan, w.tryHeat} {
		if err := step(ctx); err != nil {
			return err
		}
		if err := w.stand(ctx); err != nil {
			return err
		}
	}
	for _, o := range [...]point.Output{point.Stirrer, point.Horn} {
		if err := w.seen(ctx, o); err != nil {
			return err
		}
	}
	return nil
}

// stand lets everything come to rest and resets a trip, with the person's name.
func (w *Walk) stand(ctx context.Context) error {
	if err := w.s.hold(ctx, stopS, nil, nil); err != nil {
		return err
	}
	if w.s.gate.Tripped() {
		w.s.gate.Reset(w.record.Who, true, &w.s.rec)
	}
	return nil
}

// blocked says why an output is not tried, "" if it may be.
func (w *Walk) blocked(heat bool) string {
	for k := range w.record.Results {
		r := &w.record.Results[k]
		if r.Verdict != Wrong {
			continue
		}
		if i, ok := point.InputNamed(r.Point); !ok || heat || i == point.EmergencyStopHealthy || i == point.CoverClosed {
			return "first put right: " + r.Point
		}
	}
	if w.s.gate.Tripped() {
		return "a trip stands and cannot be reset: " + w.s.rec.Safety.First
	}
	return ""
}

func (w *Walk) left(o point.Output, why string) {
	if w.m.HasOut[o] {
		w.add(Result{Point: o.String(), Asked: "drive it", Seen: why, Verdict: NotDone})
	}
}

// fits compares a figure with what was asked for.
func (r *Result) fits(what string, seen, want, within float64, unit string) {
	r.Seen += strings.TrimRight(fmt.Sprintf("; %s %.4g, expected %.4g %s", what, seen, want, unit), " ")
	if math.Abs(seen-want) <= within*want {
		return
	}
	switch p := power(seen, want); {
	case r.Verdict == Wrong:
	case p != 0:
		r.fail(Scale, fmt.Sprintf("%s is off by a factor of %g: check scale, in, full_scale and poles of the command and of the reading", what, p))
	case seen < restShare*want:
		r.fail(NoFeedback, what+" does not follow")
	default:
		r.fail(Off, what+" is not what was asked for")
	}
}

// back looks at what the device says it has taken.
func (w *Walk) back(r *Result, o point.Output) {
	if v := w.s.img.Back[o]; w.m.HasBack[o] && v.Usable() && math.Abs(v.V-w.s.permit.Value(o)) > 0.02*math.Max(1, w.s.permit.Value(o)) {
		r.Seen += fmt.Sprintf("; read back %.4g, written %.4g", v.V, w.s.permit.Value(o))
		if r.Verdict == Right {
			r.fail(Off, "the device holds something else than was written")
		}
	}
}

// trip puts a trip of the gate into a result.
func (w *Walk) trip(r *Result) {
	if !w.s.gate.Tripped() {
		return
	}
	r.Seen += "; the gate tripped: " + w.s.rec.Safety.First
	if r.Verdict == Right {
		r.fail(Tripped, "see what the cause says; drumwright matrix explains it")
	}
}

func (w *Walk) running(i point.Input) bool {
	v := w.s.img.In[i]
	return v.Usable() && v.V == point.DriveRunning
}

// slow is a first speed for a drive.
func (w *Walk) slow(o point.Output, maxHz float64) float64 {
	return math.Max(slowShare*maxHz, 1.2*w.m.DeadHz[o])
}

func (w *Walk) tryDrum(ctx context.Context) error {
	if why := w.blocked(false); why != "" {
		w.left(point.DrumRun, why)
		w.left(point.DrumSpeed, why)
		return nil
	}
	w.p.Say("The horn sounds, then the drum turns slowly. Hands out.")
	if err := w.s.hold(ctx, float64(w.m.Batch.HornS), asks{point.Horn: 1}, nil); err != nil {
		return err
	}
	hz := w.slow(point.DrumSpeed, float64(w.m.Drum.MaxHz))
	r, err := w.drumAt(ctx, hz)
	if err == nil && r.Verdict == Right {
		if err = w.s.hold(ctx, stopS, nil, nil); err != nil {
			return err
		}
		r, err = w.drumAt(ctx, float64(w.m.Drum.MinHz))
	}
	if err != nil {
		return err
	}
	run := r
	run.Point = point.DrumRun.String()
	if run.Fault == Scale || run.Fault == Off {
		run.Verdict, run.Fault, run.Suggest = Right, "", ""
	}
	if w.m.HasOut[point.DrumRun] {
		w.add(run)
	}
	w.add(r)
	return nil
}

// drumAt turns the drum at one frequency for a while.
func (w *Walk) drumAt(ctx context.Context, hz float64) (Result, error) {
	r := Result{Point: point.DrumSpeed.String(), Asked: fmt.Sprintf("%.3g Hz for %.0f s", hz, slowS), Verdict: Right}
	var from, fromS, to, toS float64
	start := w.s.nowS
	blower := false
	seenHz, seenRun := 0.0, false
	err := w.s.hold(ctx, slowS, asks{point.DrumRun: 1, point.DrumSpeed: hz}, func() bool {
		if w.s.gate.Tripped() {
			return false
		}
		if x := w.s.img.In[point.DrumPulses]; x.Usable() && w.s.nowS-start >= 4 {
			if fromS == 0 {
				from, fromS = x.V, w.s.nowS
			}
			to, toS = x.V, w.s.nowS
		}
		if x := w.s.img.In[point.DrumHz]; x.Usable() {
			seenHz = x.V
		}
		seenRun = seenRun || w.running(point.DrumStatus)
		blower = blower || w.running(point.BlowerStatus)
		return true
	})
	if err != nil {
		return r, err
	}
	r.Seen = "the drum was told to turn"
	status := w.m.HasIn[point.DrumStatus]
	switch {
	case status && !seenRun && blower:
		r.With = point.BlowerSpeed.String()
		r.fail(Exchanged, "the blower ran instead: drum and blower drive are exchanged")
	case blower:
		r.With = point.BlowerSpeed.String()
		r.fail(Unsteady, "the blower ran as well")
	}
	if w.m.HasIn[point.DrumHz] && r.Verdict == Right {
		r.fits("output frequency", seenHz, hz, 0.08, "Hz")
	}
	if status && !seenRun && r.Verdict == Right {
		r.fail(NoFeedback, "the drive does not say that it runs: check states and mask of the command and of the status")
	}
	if w.m.HasIn[point.DrumPulses] && toS > fromS && r.Verdict == Right {
		rpm := w.m.SkinMMPerSPerHz() * 60 / (2 * math.Pi * 1000 * float64(w.m.Drum.RadiusM)) * hz
		want := rpm / 60 * float64(max(1, w.m.Drum.PulsesPerRev)) * (toS - fromS)
		if want >= 3 {
			r.fits("shaft pulses", to-from, want, math.Max(0.15, 1.5/want), "")
		}
	}
	if !status && !w.m.HasIn[point.DrumHz] && !w.m.HasIn[point.DrumPulses] {
		ok, err := w.p.Confirm(ctx, point.DrumSpeed, "Did the drum turn slowly, and nothing else?")
		if err != nil {
			return r, err
		}
		if !ok {
			r.fail(NoFeedback, "check the drive's wiring and addresses")
		}
	}
	w.back(&r, point.DrumSpeed)
	w.trip(&r)
	return r, nil
}

func (w *Walk) tryBlower(ctx context.Context) error {
	if why := w.blocked(false); why != "" {
		w.left(point.BlowerRun, why)
		w.left(point.BlowerSpeed, why)
		return nil
	}
	hz := w.m.BlowerHz(float64(w.m.Air.Nominal))
	r := Result{Point: point.BlowerSpeed.String(), Asked: fmt.Sprintf("%.3g Hz for %.0f s", hz, slowS), Verdict: Right, Seen: "the blower was told to run"}
	flow, drum, ran, proven := 0.0, false, false, false
	if err := w.s.hold(ctx, slowS, asks{point.BlowerRun: 1, point.BlowerSpeed: hz}, func() bool {
		if x := w.s.img.In[point.AirFlow]; x.Usable() {
			flow = x.V
		}
		drum = drum || w.running(point.DrumStatus)
		ran = ran || w.running(point.BlowerStatus)
		proven = w.s.img.In[point.AirProving].On()
		return !w.s.gate.Tripped()
	}); err != nil {
		return err
	}
	status := w.m.HasIn[point.BlowerStatus]
	switch {
	case drum:
		r.With = point.DrumSpeed.String()
		r.fail(Exchanged, "the drum turned: drum and blower drive are exchanged")
	case status && !ran:
		r.fail(NoFeedback, "the drive does not say that it runs: check states and mask of the command and of the status")
	}
	if w.m.HasIn[point.AirFlow] && r.Verdict == Right {
		r.fits("air flow", flow, float64(w.m.Air.Nominal), 0.3, "kg/h")
	}
	if w.m.HasIn[point.AirProving] {
		r.Seen += "; air proving " + onOff(proven)
		if !proven && r.Verdict == Right {
			r.fail(NoFeedback, "air is not proven: check the switch and its tubes, then the blower's direction")
		}
	}
	w.back(&r, point.BlowerSpeed)
	w.trip(&r)
	if w.m.HasOut[point.BlowerRun] {
		run := r
		run.Point = point.BlowerRun.String()
		if run.Fault == Scale || run.Fault == Off {
			run.Verdict, run.Fault, run.Suggest = Right, "", ""
		}
		w.add(run)
	}
	w.add(r)
	return nil
}

func (w *Walk) tryFan(ctx context.Context) error {
	if !w.m.HasOut[point.CoolingFan] {
		return nil
	}
	if !w.m.HasIn[point.CoolingFanRunning] {
		return w.seen(ctx, point.CoolingFan)
	}
	r := Result{Point: point.CoolingFan.String(), Asked: "on for 5 s", Verdict: Right}
	proven := false
	if err := w.s.hold(ctx, 5, asks{point.CoolingFan: 1}, func() bool {
		proven = w.s.img.In[point.CoolingFanRunning].On()
		return !w.s.gate.Tripped()
	}); err != nil {
		return err
	}
	r.Seen = "cooling_fan_running " + onOff(proven)
	if !proven {
		r.fail(NoFeedback, "the fan is not proven")
	}
	w.back(&r, point.CoolingFan)
	w.trip(&r)
	w.add(r)
	return nil
}

// seen drives an output that only a person can see or hear.
func (w *Walk) seen(ctx context.Context, o point.Output) error {
	if !w.m.HasOut[o] {
		return nil
	}
	if why := w.blocked(false); why != "" {
		w.left(o, why)
		return nil
	}
	r := Result{Point: o.String(), Asked: "on for 2 s", Verdict: Right}
	if err := w.s.hold(ctx, 2, asks{o: 1}, nil); err != nil {
		return err
	}
	w.back(&r, o)
	if err := w.s.hold(ctx, 0.5, nil, nil); err != nil {
		return err
	}
	ok, err := w.p.Confirm(ctx, o, fmt.Sprintf("%s (%s) was on for 2 s. Did you see or hear it, and nothing else?", o, o.Role().About))
	if err != nil {
		return err
	}
	if r.Seen = "the person saw it"; !ok {
		r.Seen = "the person did not see it"
		r.fail(NoFeedback, "check relay, wire and address")
	}
	w.add(r)
	return nil
}

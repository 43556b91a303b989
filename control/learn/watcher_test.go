package learn_test

import (
	"math"
	"testing"

	"drumwright/control/beanloop"
	"drumwright/control/learn"
	"drumwright/io/point"
	"drumwright/io/record"
)

// play gives a watcher a made-up batch of 600 s: the probe is offK below its
// target, a learned rate acts, which is reckoned to have moved the probe by
// effectK.
func play(w *learn.Watcher, id uint64, offK, effectK float64, spoil func(*record.Scan)) *learn.Course {
	good := func(v float64) point.Value { return point.Value{V: v, Quality: point.Good} }
	var s record.Scan
	for t := 0.0; t <= 600; t++ {
		s = record.Scan{State: "roasting"}
		s.Batch = record.Batch{ID: id, Recipe: "r", GreenKg: 1, SinceS: t}
		if t >= 60 {
			s.Batch.TurnS = 60
		}
		s.Bean = record.Bean{Active: true, TargetC: 150, TrueC: 160, ProbeLagS: 33, HeatFactor: 1.1, LearnedKPerS: 0.01, LearnedK: effectK}
		s.Air = record.Loop{Mode: record.Cascaded, Duty: 0.5}
		s.Base = record.Loop{Mode: record.Automatic, Duty: 0.5}
		s.Image.In[point.Bean], s.Image.In[point.DrumSkin] = good(150-offK), good(200)
		if spoil != nil {
			spoil(&s)
		}
		if w.Put(&s) != nil {
			return nil // too early
		}
	}
	s.Batch.DropS = 600
	return w.Put(&s)
}

// A batch that its lessons made worse by more than 0.05 K takes them back to
// those before; one that they made better goes on; one that was led by hand,
// held or broken off teaches nothing.
func TestWatcherTakesBack(t *testing.T) {
	d := learn.Dynamics{Gains: beanloop.DefaultGains(), LookS: 6, ProbeTauS: 30}
	before := learn.Path{RateKPerS: []float64{0, 0.02, 0}, BeforeKPerS: []float64{0, 0.01, 0}, GreenKg: 1, Batches: 2}
	for _, c := range []struct {
		name          string
		offK, effectK float64
		with, without float64
		back          bool
	}{
		{"worse", 0.5, -0.4, 0.5, 0.1, true},
		{"a little worse", 0.5, -0.04, 0.5, 0.46, false},
		{"better", 0.1, 0.4, 0.1, 0.5, false},
	} {
		w := learn.Watcher{ProbeTauS: 30}
		course := play(&w, 7, c.offK, c.effectK, nil)
		if course == nil || course.Disturbed != "" {
			t.Fatalf("%s: course %+v", c.name, course)
		}
		with, without := course.Rms()
		if math.Abs(with-c.with) > 1e-9 || math.Abs(without-c.without) > 1e-9 || math.Abs(course.LnTau-math.Log(1.1)) > 1e-9 {
			t.Errorf("%s: rms %.3f, without %.3f, ln lag %.3f; want %.3f, %.3f, %.3f", c.name, with, without, course.LnTau, c.with, c.without, math.Log(1.1))
		}
		after := before.After(course, d, 200)
		k := after.Kept[len(after.Kept)-1]
		if k.TookBack != c.back || k.Batch != 7 {
			t.Errorf("%s: %+v, want taken back %v", c.name, k, c.back)
		}
		if isBefore := len(after.RateKPerS) == 3 && after.RateKPerS[1] == 0.01; isBefore != c.back {
			t.Errorf("%s: rate %v", c.name, after.RateKPerS)
		}
	}
	for name, spoil := range map[string]func(*record.Scan){
		"hand": func(s *record.Scan) { s.Air.Mode = record.Manual },
		"held": func(s *record.Scan) { s.State = "held" },
		"trip": func(s *record.Scan) { s.Add(record.Event{Kind: record.Trip, Name: "x"}) },
		"late": chargedLate,
	} {
		w := learn.Watcher{ProbeTauS: 30}
		course := play(&w, 8, 0.5, 0, spoil)
		if course == nil || course.Disturbed == "" {
			t.Fatalf("%s: course %+v", name, course)
		}
		if after := before.After(course, d, 200); after.Batches != 2 || after.RateKPerS[1] != 0.02 {
			t.Errorf("%s: it taught %+v", name, after)
		}
		if machine := (learn.Machine{}).After(course); machine.Batches != 0 {
			t.Errorf("%s: it taught %+v", name, machine)
		}
	}
	// An estimate that began late says nothing of the coffee either.
	w := learn.Watcher{ProbeTauS: 30}
	for id, spoil := range []func(*record.Scan){chargedLate, nil} {
		course := play(&w, uint64(9+id), 0.5, 0, func(s *record.Scan) {
			if s.Bean.Loss = 0.1; s.Batch.SinceS >= 500 {
				s.Batch.FirstCrackS = 500
			}
			if spoil != nil {
				spoil(s)
			}
		})
		if late := spoil != nil; late != (course.CrackBeanC == 0) || late != (course.Loss == 0) {
			t.Errorf("charged late %v: %+v", late, course)
		}
	}
}

// chargedLate makes a made-up batch one whose charge was said late.
func chargedLate(s *record.Scan) {
	if s.Batch.SinceS == 0 {
		s.Add(record.Event{Kind: record.Note, Name: record.NoteChargeLate})
	}
}

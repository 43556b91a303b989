package proof

import (
	"slices"
	"testing"

	"drumwright/io/point"
	"drumwright/io/record"
)

// lookS is long enough for the heaters' switches to be seen to block.
const lookS = settleS + steadyS + 0.5

// day plays scans of 0.1 s and gathers what the automatic tests have shown.
type day struct {
	t    *testing.T
	a    *Automatic
	n    int
	kept []string // id and verdict
}

func newDay(t *testing.T) *day {
	return &day{t: t, a: NewAutomatic(Tests(machine(t, "heron-1000")))}
}

func (d *day) run(s float64, edit func(*record.Scan)) {
	for range int(s*10 + 0.5) {
		d.n++
		d.a.See(scan(d.n, func(sc *record.Scan) {
			good := func(i point.Input, v float64) { sc.Image.In[i] = point.Value{V: v, Quality: point.Good} }
			good(point.AirProving, 0)
			good(point.AirHeaterCurrent, 0.02)
			good(point.RadiantCurrent, 0.02)
			good(point.MainsVoltage, 230)
			good(point.ContactorClosed, 0)
			sc.Permit = [point.NumOutputs]float64{}
			edit(sc)
		}), func(p *record.ProofTest, f Finding) {
			verdict := " pass"
			if !f.Pass {
				verdict = " FAIL"
			}
			if f.Seen == "" || f.Void != "" {
				d.t.Errorf("%s: %+v", p.ID, f)
			}
			d.kept = append(d.kept, p.ID+verdict)
		})
	}
}

func (d *day) want(what ...string) {
	d.t.Helper()
	if !slices.Equal(d.kept, what) {
		d.t.Errorf("kept %q, want %q", d.kept, what)
	}
	d.kept = nil
}

func still(*record.Scan) {}

func blowing(s *record.Scan) {
	s.Permit[point.BlowerRun] = 1
	s.Image.In[point.AirProving].V = 1
}

func looking(s *record.Scan) {
	blowing(s)
	s.Permit[point.HeatEnable] = 1
	s.Image.In[point.ContactorClosed].V = 1
}

func heating(s *record.Scan) {
	looking(s)
	s.Permit[point.AirHeaterPower] = 0.5
	s.Image.In[point.AirHeaterCurrent].V = 6
}

func with(fs ...func(*record.Scan)) func(*record.Scan) {
	return func(s *record.Scan) {
		for _, f := range fs {
			f(s)
		}
	}
}

// An ordinary day shows all three, each at its moment and once.
func TestAutomaticDay(t *testing.T) {
	d := newDay(t)
	for range 2 {
		d.run(60, still)
		d.want()
		d.run(5, blowing)
		d.want("air-switch-opens pass")
		d.run(lookS, looking)
		d.want("heater-leak pass")
		d.run(600, heating)
		d.run(60, looking) // once in a warming
		d.run(600, heating)
		d.want()
		d.run(600, blowing)
		d.want("contactor pass")
	}
}

// A missed reading now and then does not keep the air switch from being seen.
func TestAutomaticMissedReadings(t *testing.T) {
	d, n := newDay(t), 0
	d.run(60, func(s *record.Scan) {
		if n++; n%7 == 0 {
			s.Image.In[point.AirProving].Quality = point.Uncertain
		}
	})
	d.run(5, blowing)
	d.want("air-switch-opens pass")
}

// What is wrong is told as soon as it is sure, once.
func TestAutomaticFailures(t *testing.T) {
	stuck := func(s *record.Scan) { s.Image.In[point.AirProving].V = 1 }
	leaks := func(s *record.Scan) { s.Image.In[point.RadiantCurrent].V = 3 }
	closed := func(s *record.Scan) { s.Image.In[point.ContactorClosed].V = 1 }
	d := newDay(t)
	d.run(29, stuck) // it may run on
	d.want()
	d.run(300, stuck)
	d.want("air-switch-opens FAIL")
	d.run(5, blowing)
	d.run(lookS, with(looking, leaks))
	d.want("heater-leak FAIL")
	d.run(60, heating)
	d.run(60, with(blowing, closed))
	d.want("contactor FAIL")
}

// A trip, a reading that is not good, heat that begins at once, a start too soon
// after the stop: they say nothing.
func TestAutomaticSaysNothing(t *testing.T) {
	unread := func(s *record.Scan) {
		for _, i := range []point.Input{point.AirProving, point.ContactorClosed, point.RadiantCurrent} {
			s.Image.In[i].Quality = point.Uncertain
		}
	}
	d := newDay(t)
	d.run(20, still)
	d.run(5, blowing)
	d.run(1, looking)
	d.run(60, heating)
	d.run(5, with(heating, unread))
	d.run(60, blowing)
	d.want()
	d.run(60, with(still, unread, func(s *record.Scan) { s.Image.In[point.AirProving].V = 1 }))
	d.run(5, blowing)
	d.run(2, looking)
	d.run(60, heating)
	d.run(2, with(blowing, off))
	d.run(60, blowing)
	d.want()
}

package plant

import (
	"math"
	"testing"
)

func TestProbeFaults(t *testing.T) {
	for _, c := range []struct {
		fault  string
		pick   func(*Readings) ProbeReading
		status ProbeStatus
		wantC  float64 // NaN: the value from before the fault
		tol    float64
	}{
		{"bean_probe_open", func(r *Readings) ProbeReading { return r.BeanProbe }, ProbeOpen, OpenCircuitC, 0},
		{"bean_probe_frozen", func(r *Readings) ProbeReading { return r.BeanProbe }, ProbeFrozen, math.NaN(), 0},
		{"bean_probe_short", func(r *Readings) ProbeReading { return r.BeanProbe }, ProbeShorted, 25, 1},
		{"inlet_probe_open", func(r *Readings) ProbeReading { return r.InletProbe }, ProbeOpen, OpenCircuitC, 0},
		{"exhaust_probe_open", func(r *Readings) ProbeReading { return r.ExhaustProbe }, ProbeOpen, OpenCircuitC, 0},
		{"skin_probe_open", func(r *Readings) ProbeReading { return r.SkinProbe }, ProbeOpen, OpenCircuitC, 0},
	} {
		t.Run(c.fault, func(t *testing.T) {
			r := charged(t, Quarter(), 178, 200, 400)
			r.settle(200, 250, 400)
			rd := r.m.Readings()
			before := c.pick(&rd)
			if before.Status != ProbeGood {
				t.Fatalf("status before the fault: %v", before.Status)
			}
			inject(t, r.m, c.fault)
			r.settle(60, 250, 400)
			rd = r.m.Readings()
			want := c.wantC
			if math.IsNaN(want) {
				want = before.C
			}
			got := c.pick(&rd)
			near(t, "reading", got.C, want, c.tol)
			if got.Status != c.status {
				t.Errorf("status: got %v, want %v", got.Status, c.status)
			}
			clearFault(t, r.m, c.fault)
			r.settle(1, 250, 400)
			rd = r.m.Readings()
			if got := c.pick(&rd); got.Status != ProbeGood || math.Abs(got.C-want) < 3 {
				t.Errorf("after the fault: %+v, want a good and moved-on reading", got)
			}
		})
	}
}

// A fault of one probe must not shift the noise of the others.
func TestFaultLeavesOtherNoiseAlone(t *testing.T) {
	run := func(fault string) Readings {
		r := charged(t, Quarter(), 178, 200, 400)
		if fault != "" {
			inject(t, r.m, fault)
		}
		r.settle(20, 250, 400)
		return r.m.Readings()
	}
	a, b := run(""), run("bean_probe_open")
	b.BeanProbe = a.BeanProbe
	if a != b {
		t.Errorf("readings differ:\n%+v\n%+v", a, b)
	}
}

func TestNoiseAndSteps(t *testing.T) {
	// 0.15 K of noise and steps of 0.1 K give sqrt(0.15² + 0.1²/12) in all.
	m := newMachine(t, Quarter())
	var n, sum, sq float64
	for range 5000 {
		m.Step(scanS)
		c := m.Readings().InletProbe.C
		if r := c * 10; math.Abs(r-math.Round(r)) > 1e-6 {
			t.Fatalf("%g is not a whole number of tenths", c)
		}
		n++
		sum += c - 25
		sq += (c - 25) * (c - 25)
	}
	near(t, "mean", sum/n, 0, 0.01)
	near(t, "deviation", math.Sqrt(sq/n), math.Sqrt(0.15*0.15+0.01/12), 0.006)
}

func TestProbeStatusWords(t *testing.T) {
	for s, want := range map[ProbeStatus]string{ProbeGood: "good", ProbeOpen: "open", ProbeFrozen: "frozen", ProbeShorted: "shorted", 99: "unknown"} {
		if got := s.String(); got != want {
			t.Errorf("%d: got %q, want %q", s, got, want)
		}
	}
}

func TestBeanProbeDrift(t *testing.T) {
	m := newMachine(t, Quarter())
	inject(t, m, "bean_probe_drift")
	for _, c := range []struct{ s, want float64 }{{150, 15}, {300, 5}, {400, 5}} {
		for m.TimeS() < c.s {
			m.Step(scanS)
		}
		near(t, "reading", m.Readings().BeanProbe.C, c.want, 0.8)
	}
}

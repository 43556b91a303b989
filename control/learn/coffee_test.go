package learn

import (
	"math"
	"testing"

	"drumwright/control/beanloop"
	"drumwright/control/observe"
)

// A coffee whose loss is always a little more than estimated is learned within a
// few weighings, ever more slowly, and ever more surely; the estimate moves with
// what was learned by the gradient of the loss.
func TestWeighedCoffee(t *testing.T) {
	const truth = 0.15
	var c Coffee
	seen := Seen{Loss: 0.143, MoistureDB: 0.022, GreenDB: 0.1236, StartDB: 0.1236, Measured: true}
	g := observe.LossGradient(seen.Loss, seen.MoistureDB, seen.StartDB)
	lossNow := func() float64 { return seen.Loss + g[0]*c.LnDryLoss + g[1]*c.LnDrying + g[2]*c.MoistureAdd }
	sd := func() float64 {
		u, v := c.Unsure(true), 0.0
		for i := range g {
			for j := range g {
				v += g[i] * g[j] * u[i][j]
			}
		}
		return math.Sqrt(v)
	}
	missBefore, sdBefore := truth-seen.Loss, sd()
	for i := range 4 {
		s := seen
		s.Loss = lossNow()
		c = c.After(1, 1-truth, s)
		if miss := math.Abs(truth - lossNow()); miss > missBefore || sd() >= sdBefore {
			t.Errorf("weighing %d: off by %.4f after %.4f, sd %.4f after %.4f", i+1, miss, missBefore, sd(), sdBefore)
		} else {
			missBefore, sdBefore = miss, sd()
		}
	}
	if missBefore > 0.001 || c.Weighed != 4 {
		t.Errorf("after four weighings still off by %.4f", missBefore)
	}
	if c = c.After(1, 0.70, seen); math.Abs(c.LnDryLoss) > lnKineticsMax || math.Abs(c.MoistureAdd) > moistureAddMax {
		t.Errorf("out of bounds: %+v", c)
	}
}

// Hand calculation: along a straight curve beans at 180 °C that rise 6 K/min
// reach a learned 196 °C in 160 s.
func TestCrackForeseen(t *testing.T) {
	curve, err := beanloop.NewCurve([]beanloop.Point{{TimeS: 100, TempC: 100}, {TimeS: 300, TempC: 120}, {TimeS: 600, TempC: 150}, {TimeS: 1200, TempC: 210}})
	if err != nil {
		t.Fatal(err)
	}
	heard := Coffee{CrackC: []float64{196, 196, 196}}
	var w CrackWatch
	w.Start(&heard)
	e := observe.Estimate{BeanC: 180, RateKPerS: 0.1, TauS: 30, Usable: true}
	due, sd := w.Step(800, 0.1, &e, beanloop.Plan{Curve: curve})
	if math.Abs(due-960) > 2 {
		t.Errorf("due at %.1f s, want 960", due)
	}
	var unheard CrackWatch
	unheard.Start(&Coffee{})
	_, wide := unheard.Step(800, 0.1, &e, beanloop.Plan{Curve: curve})
	if !(sd > 0 && wide > 2*sd) {
		t.Errorf("sd %.1f s of a coffee that was heard, %.1f of one that was not", sd, wide)
	}
	if due, _ := w.Step(801, 0.1, &observe.Estimate{BeanC: 120, RateKPerS: 0.1, TauS: 30}, beanloop.Plan{Curve: curve}); due != 0 {
		t.Errorf("foreseen from 120 °C: %g", due)
	}
	late := Coffee{CrackC: []float64{196}}.Heard(196, 12).Heard(196, 6)
	if len(late.CrackLateS) != 2 || !(late.late() > 4 && late.late() < 12) {
		t.Errorf("late by %v, %g", late.CrackLateS, late.late())
	}
	if c := heard.Heard(120, math.NaN()); len(c.CrackC) != 3 {
		t.Errorf("a first crack at 120 °C was learned: %v", c.CrackC)
	}
}

// What is stored comes back in bounds, and another curve takes no rate with it.
func TestAssemble(t *testing.T) {
	l, err := Assemble("r", "a", []byte(`{"curve":"a","rate_k_per_s":[0,9,-9],"ln_heat":7}`), nil, []byte(`{"batches":1,"ln_tau":-3}`))
	if err != nil || l.Path.RateKPerS[1] != rateMaxKPerS || l.Path.RateKPerS[2] != -rateMaxKPerS || l.Path.LnHeat != lnHeatMax || l.Machine.LnTau != lnTauMin {
		t.Errorf("%+v, %v", l, err)
	}
	if l, err = Assemble("r", "b", []byte(`{"curve":"a","rate_k_per_s":[0,0.01,0]}`), nil, nil); err != nil || l.Path.RateKPerS != nil {
		t.Errorf("on another curve: %+v, %v", l, err)
	}
	if _, err = Assemble("r", "b", []byte(`{`), nil, nil); err == nil {
		t.Error("a damaged lesson was read")
	}
}

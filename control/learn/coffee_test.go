package learn

import (
	"math"
	"math/rand/v2"
	"testing"

	"drumwright/control/beanloop"
	"drumwright/control/observe"
)

// What is left of the error after weighing is as large as is stated, whatever was
// told: coffees drawn from the doubt about them, estimates that err by them in the
// linear way of a roast (sensitivities of a 1 kg roast), and errors that weighing
// does not correct coming again in each batch. Some 2000 coffees tell a variance to
// 3 %.
func TestWeighedCoffees(t *testing.T) {
	const gasSd, coffees, weighings = 0.005, 2000, 4
	by := observe.Weighing{
		LossBy:  [observe.NLasting]float64{0.039, 0.008, 0.45, 0.0028, 0.065, 1e-5, 6e-4},
		GreenBy: [observe.NLasting]float64{0, 0.021, 0.64, 0.005, 0.15, 5e-5, 4e-4},
		Rest:    [3]float64{2e-7, 1e-7, 2e-7},
	}
	free := by // an estimate that may make another moisture of it
	free.LossBy[1], free.LossBy[2], free.LossBy[4] = 0.031, 0.06, 0.25
	free.GreenBy[1], free.GreenBy[2], free.GreenBy[4] = 0.055, 0.08, 0.45
	for _, measured := range []bool{true, false} {
		rnd := rand.New(rand.NewPCG(7, 8))
		var square, stated, before [weighings + 1]float64
		for range coffees {
			var c Coffee
			doubt := c.doubt(measured, gasSd)
			var off [observe.NLasting]float64 // told less true
			for i := range off {
				off[i] = math.Sqrt(doubt[i][i]) * rnd.NormFloat64()
			}
			for k := range weighings + 1 {
				w := Seen{Measured: measured, GasSd: gasSd, By: by, StartDB: 0.1236}
				if !measured && k == 0 {
					w.By = free
				}
				now := off
				now[0] += c.LnDryLoss
				now[1] += c.LnDrying
				now[2] += c.MoistureAdd + moistureSd(measured)*rnd.NormFloat64()
				a, b := rnd.NormFloat64(), rnd.NormFloat64() // noise, half of it common
				loss, green := math.Sqrt(1e-7)*(a+b), math.Sqrt(1e-7)*(a+rnd.NormFloat64())
				for i := range now {
					loss += w.By.LossBy[i] * now[i]
					green += w.By.GreenBy[i] * now[i]
				}
				w.Loss, w.GreenDB = 0.15+loss, w.StartDB+green-now[2]
				u, v := c.Doubt(measured, gasSd), w.By.Rest[0]
				for i := range u {
					for j := range u {
						v += w.By.LossBy[i] * w.By.LossBy[j] * u[i][j]
					}
				}
				square[k] += loss * loss / coffees
				stated[k] += v / coffees
				before[k] += math.Abs(loss) / coffees
				c = c.After(1, 0.85+scaleLossSd*rnd.NormFloat64(), w)
			}
		}
		for k := range square {
			t.Logf("measured %v, %d weighed: rms %.4f, stated %.4f", measured, k, math.Sqrt(square[k]), math.Sqrt(stated[k]))
			// Weights that hardly can be count less, and the mean moisture is taken to
			// wander, so a little more may be stated.
			if ratio := square[k] / stated[k]; !(ratio > 0.85 && ratio < 1.12) {
				t.Errorf("measured %v, %d weighed: variance %.2f of what is stated", measured, k, ratio)
			}
			if k > 0 && !(before[k] < before[0]/2) {
				t.Errorf("measured %v: off by %.4f after %d weighings, %.4f before", measured, before[k], k, before[0])
			}
		}
	}
}

func TestWeighingsThatTeachLittle(t *testing.T) {
	w := Seen{Loss: 0.143, GreenDB: 0.1236, StartDB: 0.1236, Measured: true, GasSd: 0.005, By: observe.Weighing{LossBy: [observe.NLasting]float64{0.039, 0.008, 0.45, 0.0028, 0.065}, Rest: [3]float64{1e-6, 0, 1e-6}}}
	c := Coffee{}.After(1, 0.70, w)
	if math.Abs(c.LnDryLoss) > lnKineticsMax || math.Abs(c.MoistureAdd) > moistureAddMax || c.Weighed != 1 {
		t.Errorf("a loss that cannot be: %+v", c)
	}
	w.By = observe.Weighing{}
	if got := c.After(1, 0.85, w); got.Weighed != 1 || got.LnDryLoss != c.LnDryLoss {
		t.Errorf("learned of an estimate that does not say what it errs by: %+v", got)
	}
	// What was kept before a gas share was calibrated keeps its other doubts.
	was, now := c.Doubt(true, 0.005), c.Doubt(true, 0.002)
	if was[0][4] == 0 || now[0][0] != was[0][0] || now[0][3] != was[0][3] || math.Abs(now[4][4]-4e-6) > 1e-12 || now[0][4] != 0 {
		t.Errorf("after calibration %v, before %v", now, was)
	}
	if old := (&Coffee{Weighed: 1, Cov: observe.Doubt{{1e-3}}}).Doubt(true, 0.005); old[0][0] != 1e-3 || math.Abs(old[3][3]-observe.ReactionSd*observe.ReactionSd) > 1e-9 {
		t.Errorf("of a coffee kept by an older program: %v", old)
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

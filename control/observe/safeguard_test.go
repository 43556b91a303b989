package observe

import (
	"math"
	"strings"
	"testing"
)

func TestStartRefusesBadParams(t *testing.T) {
	f := new(Filter)
	p := largeMachine()
	p.BatchKg, p.StepS, p.GasShare = 0, math.NaN(), 0.9
	err := f.Start(p, 25, true, 200)
	if err == nil {
		t.Fatal("no error for batch 0 kg, step NaN, gas share 0.9")
	}
	for _, name := range []string{"BatchKg", "StepS", "GasShare"} {
		if !strings.Contains(err.Error(), name) {
			t.Errorf("error does not name %s: %v", name, err)
		}
	}
	f.Predict(200, 200, 0.01)
	f.Update(200)
	if e := f.Estimate(); e != (Estimate{}) {
		t.Errorf("a filter that was not started gives %+v", e)
	}
}

func TestStartValues(t *testing.T) {
	for _, c := range []struct {
		name          string
		ambientC      float64
		known         bool
		beanC, beanSd float64
		lnTauSd, xSd  float64
	}{
		{"ambient known", 18, true, 18, 2, 0.30, 0.0145},
		{"ambient unknown", 18, false, 25, 6, 0.30, 0.0145},
		{"ambient probe lost", math.NaN(), true, 25, 6, 0.10, 0.0025},
	} {
		t.Run(c.name, func(t *testing.T) {
			p := largeMachine()
			p.LnTauSd, p.MoistureSdDB = c.lnTauSd, c.xSd
			f := new(Filter)
			if err := f.Start(p, c.ambientC, c.known, 203); err != nil {
				t.Fatal(err)
			}
			e, sd := f.Estimate(), func(i int) float64 { return math.Sqrt(f.Covariance()[i][i]) }
			if e.BeanC != c.beanC || e.ProbeC != 203 || e.DryFraction != 1 || e.LossFraction != 0 {
				t.Errorf("start state %+v", e)
			}
			for _, v := range [][2]float64{{sd(iBean), c.beanSd}, {sd(iLnTau), c.lnTauSd}, {sd(iMoisture), c.xSd}} {
				if math.Abs(v[0]-v[1]) > 1e-12 {
					t.Errorf("start sd %g, want %g", v[0], v[1])
				}
			}
		})
	}
}

func TestImmersion(t *testing.T) {
	f := new(Filter)
	if err := f.Start(largeMachine(), 25, true, 203); err != nil {
		t.Fatal(err)
	}
	for i := 1; i <= 85; i++ {
		f.Predict(203, 171, 0.011)
		beanC := f.Estimate().BeanC
		y := 203 - float64(i)
		f.Update(y)
		inBed := float64(i)*0.1 >= ImmersionS-1e-9
		if !inBed && (f.x[iProbe] != y || f.cov[iProbe][iProbe] != 0.1 || f.cov[iProbe][iBean] != 0) {
			t.Fatalf("scan %d: probe state %g, variance %g", i, f.x[iProbe], f.cov[iProbe][iProbe])
		}
		if moved := f.Estimate().BeanC != beanC; moved != inBed {
			t.Fatalf("scan %d: reading moved the bean estimate: %v, want %v", i, moved, inBed)
		}
	}
}

func TestSpikeMovesStateByABoundedAmount(t *testing.T) {
	for _, y := range []float64{400, 1500} {
		f := midRoast(t)
		f.Predict(250, 205, 0.011)
		before := f.x
		sd := math.Sqrt(f.cov[iBean][iBean])
		f.Update(y)
		// With S = v²/25 a state moves by 25 P1/v: less the bigger the spike,
		// and never more than five sd.
		if d := math.Abs(f.x[iBean] - before[iBean]); d > 5*sd {
			t.Errorf("reading %g moved the bean by %g K, sd was %g", y, d, sd)
		}
		if d := math.Abs(f.x[iProbe] - before[iProbe]); d > 1 {
			t.Errorf("reading %g moved the probe by %g K", y, d)
		}
	}
}

func TestMissingReadings(t *testing.T) {
	f := midRoast(t)
	last := f.Estimate().BeanSdC
	for s := 0; s < 700; s++ {
		f.Predict(250, 205, 0.011)
		f.Update(math.NaN())
		e := f.Estimate()
		if want := e.ReadingGapS <= MaxReadingGapS && e.BeanSdC <= MaxBeanSdC; e.Usable != want {
			t.Fatalf("after %.1f s without reading Usable is %v", e.ReadingGapS, e.Usable)
		}
		last = e.BeanSdC
	}
	if e := f.Estimate(); e.Usable || math.Abs(e.ReadingGapS-70) > 1e-9 {
		t.Errorf("after 70 s without reading: gap %g s, usable %v", e.ReadingGapS, e.Usable)
	}
	// Once a reading is back the estimate sharpens again.
	y := f.Estimate().ProbeC
	for s := 0; s < 300; s++ {
		f.Predict(250, 205, 0.011)
		f.Update(y + f.Estimate().ProbeC - f.x[iProbe])
	}
	if e := f.Estimate(); !(e.BeanSdC < last) || e.ReadingGapS != 0 {
		t.Errorf("sd %g after readings came back, was %g", e.BeanSdC, last)
	}
}

func TestHeldInputs(t *testing.T) {
	f, g := midRoast(t), midRoast(t)
	f.Predict(250, 205, 0.011)
	g.Predict(250, 205, 0.011)
	for i := 1; i <= 60; i++ {
		f.Predict(math.NaN(), 205, math.Inf(1))
		g.Predict(250, 205, 0.011)
		if f.x != g.x {
			t.Fatal("a bad inlet reading was not replaced by the last good one")
		}
		if e, want := f.Estimate(), i <= 50; e.Usable != want {
			t.Fatalf("after %.1f s held Usable is %v", e.InputHeldS, e.Usable)
		}
	}
	f.Predict(250, 205, 0.011)
	if e := f.Estimate(); !e.Usable || e.InputHeldS != 0 {
		t.Errorf("inputs are back, held %g s, usable %v", e.InputHeldS, e.Usable)
	}
}

func TestRestart(t *testing.T) {
	for name, spoil := range map[string]func(*Filter){
		"NaN covariance":    func(f *Filter) { f.cov[iLnTau][iBean] = math.NaN() },
		"huge covariance":   func(f *Filter) { f.cov[iBean][iBean] = 2e6 },
		"infinite variance": func(f *Filter) { f.cov[iDisturb][iDisturb] = math.Inf(1) },
	} {
		t.Run(name, func(t *testing.T) {
			f := midRoast(t)
			f.x[iMoisture], f.x[iDry], f.x[iReaction] = 0.05, 0.97, 60
			f.Predict(250, 205, 0.011)
			f.Update(117)
			kept := f.x
			spoil(f)
			f.Predict(250, 205, 0.011)
			e := f.Estimate()
			if e.Restarts != 1 || e.BeanC != 117 || e.ProbeC != 117 || e.DisturbanceKPerS != 0 {
				t.Errorf("after restart %+v", e)
			}
			if math.Abs(e.MoistureDB-kept[iMoisture]) > 1e-4 || math.Abs(e.DryFraction-kept[iDry]) > 1e-4 {
				t.Errorf("the roast so far was forgotten: X %g, S %g", e.MoistureDB, e.DryFraction)
			}
			if e.Usable { // start sd of an unknown bean temperature is 6 K
				t.Error("usable straight after a restart")
			}
			f.Predict(250, 205, 0.011)
			if r := f.Estimate().Restarts; r != 1 {
				t.Errorf("restarted again: %d", r)
			}
		})
	}
}

func TestInletLead(t *testing.T) {
	// A first-order lag of tau trails a ramp by tau × slope (textbook). The
	// lead turns the probe's 4 s into the 1 s of its own filter.
	var l InletLead
	for _, scanS := range []float64{0.05, 0.1, 0.5, 1} {
		l = InletLead{TauS: 4, StepS: scanS}
		got := 0.0
		for i := 0; i < 600; i++ {
			air := 200 + 2*scanS*float64(i)
			got = l.Step(air-4*2) - air
		}
		if math.Abs(got+1*2) > 1e-6 {
			t.Errorf("scan %g s: on a 2 K/s ramp the lead is %g K from the air temperature, want -2", scanS, got)
		}
	}
	before := l
	if v := l.Step(math.NaN()); !math.IsNaN(v) || l != before {
		t.Errorf("missing reading gave %g and state %+v, was %+v", v, l, before)
	}
}

func TestNoAllocations(t *testing.T) {
	f := midRoast(t)
	l := InletLead{TauS: 4, StepS: 0.1}
	if n := testing.AllocsPerRun(200, func() {
		f.Predict(l.Step(250), 205, 0.011)
		f.Update(115.2)
		f.Estimate()
	}); n != 0 {
		t.Errorf("%g allocations a scan", n)
	}
}

package tune

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"drumwright/control/pid"
)

func fitsOf(t *testing.T, d Data, models ...Model) (list []Fit) {
	t.Helper()
	for _, m := range models {
		f, err := FitProcess(d, m)
		if err != nil {
			t.Fatal(err)
		}
		list = append(list, f)
	}
	return list
}

// The form that made the data is the one chosen; what is recommended keeps its
// margin on the true process, not only on the fitted one.
func TestRecommendedGainsSuitTheTrueProcess(t *testing.T) {
	for _, p := range []Process{{Gain: 0.085, Tau1S: 17, Tau2S: 5, DelayS: 1.6}, {Gain: 0.07, Tau1S: 25, DelayS: 6}} {
		want := SecondOrder
		if p.Tau2S == 0 {
			want = FirstOrder
		}
		fits := fitsOf(t, stepData(p, 250, 120, 1, 0.15, 5), FirstOrder, SecondOrder)
		if got := fits[Best(fits)].Model; got != want {
			t.Errorf("%+v: taken for %s", p, got)
		}
		list, best, err := Candidates(fits, Loop{PeriodS: 0.1, FilterN: 6, RatedW: 4000, NoiseK: 0.15, InUse: pid.Gains{Kc: 100, TiS: 5, B: 1}})
		if err != nil || best < 1 {
			t.Fatalf("%+v: best %d, %v", p, best, err)
		}
		if list[0].Objection == "" {
			t.Errorf("gains of 100 W/K and 5 s pass: %+v", list[0])
		}
		c := list[best]
		if ms := MarginsOf(p, c.Gains, 0.1).Ms; ms > TargetMs*1.06 {
			t.Errorf("%s: Ms %.2f on the true process", c.Rule, ms)
		}
		for _, o := range list[1:] {
			if o.Objection == "" && o.Worth() < c.Worth() {
				t.Errorf("%s would be better than %s", o.Rule, c.Rule)
			}
		}
	}
}

// A white noise of 1 goes through a proportional gain as its gain; through a
// derivative as simulated.
func TestNoiseGain(t *testing.T) {
	if got, err := noiseGain(pid.Gains{Kc: 7, TiS: 3, B: 1}, 0.1); err != nil || math.Abs(got-7) > 1e-12 {
		t.Errorf("%g, %v", got, err)
	}
	g := pid.Gains{Kc: 2, TdS: 3, N: 6, B: 1}
	c, err := pid.New(pid.Config{Gains: g, PeriodS: 0.1, Min: -1e9, Max: 1e9})
	if err != nil {
		t.Fatal(err)
	}
	rng, sum := rand.New(rand.NewPCG(1, 2)), 0.0
	const n = 40000
	for range n {
		u := c.Step(pid.In{Mode: pid.Auto, Measured: rng.NormFloat64()}).Output
		sum += u * u
	}
	got, err := noiseGain(g, 0.1)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "noise gain", got, math.Sqrt(sum/n), 0.02)
}

func TestNoGainsFromABadFit(t *testing.T) {
	noisy := fitsOf(t, stepData(Process{Gain: 0.0005, Tau1S: 17, DelayS: 2}, 250, 120, 1, 0.5, 5), FirstOrder)
	if _, _, err := Candidates(noisy, Loop{PeriodS: 0.1, FilterN: 6, RatedW: 4000, InUse: pid.Gains{Kc: 1, TiS: 1}}); err == nil || !strings.Contains(err.Error(), "explains") {
		t.Errorf("noise gives gains: %v", err)
	}
	falls := fitsOf(t, stepData(Process{Gain: -0.08, Tau1S: 17, DelayS: 2}, 250, 120, 1, 0.1, 5), FirstOrder)
	if _, _, err := Candidates(falls, Loop{PeriodS: 0.1, FilterN: 6, RatedW: 4000, InUse: pid.Gains{Kc: 1, TiS: 1}}); err == nil || !strings.Contains(err.Error(), "fell") {
		t.Errorf("a reading that falls gives gains: %v", err)
	}
}

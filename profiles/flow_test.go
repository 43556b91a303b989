package profiles_test

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

func TestFlowFollowsTheTable(t *testing.T) {
	m := machine(t, "heron-1000")
	for _, c := range []struct{ hz, kgPerH float64 }{
		{0, 0}, {-5, 0}, {5, 3.25}, {10, 6.5}, {15, 10.75}, {50, 41}, {60, 48.8}, {80, 48.8},
	} {
		if got := m.FlowKgPerS(c.hz) * 3600; math.Abs(got-c.kgPerH) > 1e-9 {
			t.Errorf("%v Hz: got %v kg/h, want %v", c.hz, got, c.kgPerH)
		}
	}
	for _, c := range []struct{ kgPerH, hz float64 }{{0, 0}, {-1, 0}, {6.5, 10}, {41, 50}, {48.8, 60}, {100, 60}, {math.NaN(), 60}} {
		if got := m.BlowerHz(c.kgPerH); math.Abs(got-c.hz) > 1e-9 {
			t.Errorf("%v kg/h: got %v Hz, want %v", c.kgPerH, got, c.hz)
		}
	}
}

func TestBlowerHzInvertsFlow(t *testing.T) {
	m := machine(t, "lark-300")
	rapid.Check(t, func(t *rapid.T) {
		a := rapid.Float64Range(0, 60).Draw(t, "a")
		b := rapid.Float64Range(0, 60).Draw(t, "b")
		fa, fb := m.FlowKgPerS(a)*3600, m.FlowKgPerS(b)*3600
		if (a < b) != (fa < fb) && math.Abs(a-b) > 1e-9 {
			t.Fatalf("flow does not rise: %v Hz %v, %v Hz %v", a, fa, b, fb)
		}
		if back := m.BlowerHz(fa); math.Abs(back-a) > 1e-9 {
			t.Fatalf("%v Hz gives %v kg/h and back %v Hz", a, fa, back)
		}
	})
}

func TestFlowMakesNoGarbage(t *testing.T) {
	m := machine(t, "heron-1000")
	sum := 0.0
	if n := testing.AllocsPerRun(100, func() { sum += m.FlowKgPerS(33) + m.BlowerHz(33) + m.SkinMMPerSPerHz() }); n != 0 {
		t.Errorf("%v allocations", n)
	}
	if !(sum > 0) {
		t.Error("no flow")
	}
}

// A drum of radius 65 mm behind a 30:1 gear and a four-pole motor with 3 % slip
// turns 120·50/4·0.97/30 = 48.5 times a minute at 50 Hz: 2π·65·48.5/60 =
// 330.13 mm/s, 6.6026 mm/s per Hz (worked out by hand).
func TestSkinSpeedFromThePlates(t *testing.T) {
	if got := machine(t, "lark-300").SkinMMPerSPerHz(); math.Abs(got-6.6026) > 1e-4 {
		t.Errorf("got %v, want 6.6026", got)
	}
	if got := machine(t, "heron-1000").SkinMMPerSPerHz(); got != 6.5876 {
		t.Errorf("got %v, want the measured 6.5876", got)
	}
}

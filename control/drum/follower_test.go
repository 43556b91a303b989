package drum

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

var testLimits = Limits{MinMMS: 150, MaxMMS: 500, SlewMMSPerS: DefaultSlewMMSPerS}

func newFollower(t testing.TB, l Limits) *Follower {
	t.Helper()
	f, err := NewFollower(tradeSchedule(t), l)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestFollowerSlew(t *testing.T) {
	// 428 to 296 mm/s at 3 mm/s per s takes 44 s: worked by hand.
	f := newFollower(t, testLimits)
	steps := 0
	for f.Step(0.20, 0.1) > 296 && steps < 10000 {
		steps++
	}
	near(t, "seconds to the end speed", float64(steps+1)*0.1, 44, 0.2)
}

func TestFollowerNeverGoesBack(t *testing.T) {
	f := newFollower(t, testLimits)
	for range 1000 {
		f.Step(0.12, 0.1)
	}
	for _, loss := range []float64{0.05, 0, -1, math.NaN(), math.Inf(-1)} {
		near(t, "speed", f.Step(loss, 1), 343, 1e-9)
		near(t, "progress", f.LossFrac(), 0.12, 0)
	}
	f.Step(0.13, 0)
	near(t, "no time, no move", f.SkinMMS(), 343, 1e-9)
}

func TestFollowerResetIsBumpless(t *testing.T) {
	f := newFollower(t, testLimits)
	f.Step(0.2, 100)
	f.Reset(310)
	near(t, "progress", f.LossFrac(), 0, 0)
	near(t, "first step", f.Step(0, 0.1), 310.3, 1e-9)
	f.Reset(9999)
	near(t, "clamped", f.SkinMMS(), 500, 0)
	f.Reset(math.NaN())
	near(t, "unknown speed", f.SkinMMS(), 428, 0)
}

func TestFollowerRefuses(t *testing.T) {
	s := tradeSchedule(t)
	if _, err := NewFollower(Schedule{}, testLimits); err == nil {
		t.Error("empty schedule accepted")
	}
	for _, l := range []Limits{{}, {200, 100, 3}, {100, 200, 0}, {100, math.Inf(1), 3}, {math.NaN(), 200, 3}, {100, 200, math.NaN()}} {
		if _, err := NewFollower(s, l); err == nil {
			t.Errorf("%+v: accepted", l)
		}
	}
}

// Whatever the estimate does, speed stays within limits, moves no faster than
// the slew limit, and progress never falls.
func TestFollowerProperties(t *testing.T) {
	s := tradeSchedule(t)
	rapid.Check(t, func(t *rapid.T) {
		l := Limits{MinMMS: rapid.Float64Range(100, 350).Draw(t, "min"), SlewMMSPerS: rapid.Float64Range(0.1, 20).Draw(t, "slew")}
		l.MaxMMS = l.MinMMS + rapid.Float64Range(0, 300).Draw(t, "span")
		f, err := NewFollower(s, l)
		if err != nil {
			t.Fatal(err)
		}
		for range 50 {
			v, p := f.SkinMMS(), f.LossFrac()
			dt := rapid.Float64Range(0, 2).Draw(t, "dt")
			got := f.Step(rapid.Float64().Draw(t, "loss"), dt)
			if f.LossFrac() < p || f.LossFrac() > 1 {
				t.Fatalf("progress %g after %g", f.LossFrac(), p)
			}
			if got < l.MinMMS || got > l.MaxMMS || math.Abs(got-v) > l.SlewMMSPerS*dt+1e-9 {
				t.Fatalf("speed %g after %g in %g s, limits %+v", got, v, dt, l)
			}
		}
	})
}

func TestFollowerStepDoesNotAllocate(t *testing.T) {
	f := newFollower(t, testLimits)
	loss := 0.0
	if n := testing.AllocsPerRun(1000, func() { loss += 1e-4; f.Step(loss, 0.1) }); n != 0 {
		t.Errorf("a step makes %g allocations, want 0", n)
	}
}

func BenchmarkFollowerStep(b *testing.B) {
	f := newFollower(b, testLimits)
	b.ReportAllocs()
	loss := 0.0
	for b.Loop() {
		loss += 1e-7
		f.Step(loss, 0.1)
	}
}

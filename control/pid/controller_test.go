package pid

import (
	"math"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func mustNew(t testing.TB, cfg Config) *Controller {
	t.Helper()
	c, err := New(cfg)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func near(got, want, tol float64) bool { return math.Abs(got-want) <= tol }

// The equations of Astrom & Hagglund 1995, ch. 3 (from memory), worked through
// independently (Python, double precision) to six digits: K 2, Ti 10, Td 1,
// N 10, h 0.5, b 0.7, c 0, r 1, limits 0..1.2, Tt sqrt(Ti Td).
func TestControllerAgainstWorkedVector(t *testing.T) {
	c := mustNew(t, Config{
		Gains:   Gains{Kc: 2, TiS: 10, TdS: 1, N: 10, B: 0.7},
		PeriodS: 0.5, Min: 0, Max: 1.2,
	})
	rows := []struct{ y, p, i, d, v, u float64 }{
		{0.00, 1.400000, 0.000000, 0.000000, 1.400000, 1.200000},
		{0.00, 1.400000, 0.068377, 0.000000, 1.468377, 1.200000},
		{0.05, 1.300000, 0.125943, -0.166667, 1.259276, 1.200000},
		{0.15, 1.100000, 0.211571, -0.361111, 0.950460, 0.950460},
		{0.30, 0.800000, 0.296571, -0.560185, 0.536385, 0.536385},
		{0.45, 0.500000, 0.366571, -0.593364, 0.273206, 0.273206},
		{0.60, 0.200000, 0.421571, -0.598894, 0.022677, 0.022677},
		{0.70, 0.000000, 0.461571, -0.433149, 0.028422, 0.028422},
		{0.78, -0.160000, 0.491571, -0.338858, -0.007288, 0.000000},
		{0.85, -0.300000, 0.514723, -0.289810, -0.075087, 0.000000},
	}
	for k, w := range rows {
		o := c.Step(In{Mode: Auto, SetPoint: 1, Measured: w.y})
		const tol = 1e-6
		if !near(o.P, w.p, tol) || !near(o.I, w.i, tol) || !near(o.D, w.d, tol) || !near(o.Wish, w.v, tol) || !near(o.Output, w.u, tol) {
			t.Errorf("scan %d: got %+v, want %+v", k, o, w)
		}
	}
}

func TestConfigRefusesWhatCannotWork(t *testing.T) {
	ok := Config{Gains: Gains{Kc: 1, TiS: 10, TdS: 1, N: 8, B: 1}, PeriodS: 0.1, Min: 0, Max: 1}
	if err := ok.Validate(); err != nil {
		t.Fatal(err)
	}
	for _, tc := range []struct {
		name, want string
		edit       func(*Config)
	}{
		{"zero gain", "Kc", func(c *Config) { c.Gains.Kc = 0 }},
		{"negative Ti", "TiS", func(c *Config) { c.Gains.TiS = -1 }},
		{"Td no number", "TdS", func(c *Config) { c.Gains.TdS = math.NaN() }},
		{"Tt infinite", "TtS", func(c *Config) { c.Gains.TtS = math.Inf(1) }},
		{"no filter", "N is", func(c *Config) { c.Gains.N = 0 }},
		{"b above 1", "B is", func(c *Config) { c.Gains.B = 1.1 }},
		{"c no number", "C is", func(c *Config) { c.Gains.C = math.NaN() }},
		{"no period", "PeriodS", func(c *Config) { c.PeriodS = 0 }},
		{"limits crossed", "Min below Max", func(c *Config) { c.Min = 2 }},
		{"negative rate", "RatePerS", func(c *Config) { c.RatePerS = -1 }},
		{"unknown anti-windup", "AntiWindup", func(c *Config) { c.AntiWindup = 7 }},
	} {
		t.Run(tc.name, func(t *testing.T) {
			c := ok
			tc.edit(&c)
			_, err := New(c)
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v, want an error naming %q", err, tc.want)
			}
		})
	}
}

func TestFirstValidSampleMakesNoDerivativeKick(t *testing.T) {
	c := mustNew(t, Config{Gains: Gains{Kc: 1, TdS: 10, N: 10, B: 1}, PeriodS: 0.1, Min: -1e6, Max: 1e6})
	if o := c.Step(In{Mode: Auto, SetPoint: 200, Measured: math.NaN()}); o.Output != 0 {
		t.Errorf("output before the first valid sample %g, want 0", o.Output)
	}
	if o := c.Step(In{Mode: Auto, SetPoint: 200, Measured: 180}); o.D != 0 || o.Output != 20 {
		t.Errorf("first valid sample: %+v, want D 0 and output 20", o)
	}
	// A gap of any length must not turn into a slope either.
	c.Hold()
	if o := c.Step(In{Mode: Auto, SetPoint: 200, Measured: 150}); o.D != 0 {
		t.Errorf("D after a gap %g, want 0", o.D)
	}
}

// drawGains gives settings over four decades, either sign.
func drawGains(t *rapid.T, name string) Gains {
	g := Gains{
		Kc:  rapid.Float64Range(0.01, 100).Draw(t, name+" Kc"),
		TiS: rapid.SampledFrom([]float64{0, 0.05, 1, 10, 300}).Draw(t, name+" Ti"),
		TdS: rapid.SampledFrom([]float64{0, 0.01, 1, 30}).Draw(t, name+" Td"),
		N:   rapid.Float64Range(1, 20).Draw(t, name+" N"),
		B:   rapid.Float64Range(0, 1).Draw(t, name+" B"),
		C:   rapid.Float64Range(0, 1).Draw(t, name+" C"),
	}
	if rapid.Bool().Draw(t, name+" reverse") {
		g.Kc = -g.Kc
	}
	return g
}

func drawConfig(t *rapid.T) Config {
	return Config{
		Gains: drawGains(t, "gains"), PeriodS: 0.1, Min: -50, Max: 120,
		RatePerS:   rapid.SampledFrom([]float64{0, 5, 1000}).Draw(t, "rate"),
		AntiWindup: rapid.SampledFrom([]AntiWindup{BackCalculation, Conditional}).Draw(t, "anti-windup"),
	}
}

func drawMode(t *rapid.T) Mode {
	return rapid.SampledFrom([]Mode{Manual, Auto, Cascade}).Draw(t, "mode")
}

// Whatever comes in, numbers or not, the output is finite, inside its limits
// and inside its rate.
func TestOutputAlwaysInLimits(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := drawConfig(t)
		c, err := New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		wild := rapid.OneOf(rapid.Float64Range(-500, 500), rapid.SampledFrom([]float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300}))
		last := 0.0
		for range rapid.IntRange(1, 40).Draw(t, "scans") {
			o := c.Step(In{
				Mode: drawMode(t), SetPoint: wild.Draw(t, "r"), Remote: wild.Draw(t, "remote"),
				Measured: wild.Draw(t, "y"), FeedForward: wild.Draw(t, "ff"), ManualOutput: wild.Draw(t, "manual"),
			})
			if !(o.Output >= cfg.Min && o.Output <= cfg.Max) {
				t.Fatalf("output %g outside %g..%g", o.Output, cfg.Min, cfg.Max)
			}
			if cfg.RatePerS > 0 && math.Abs(o.Output-last) > cfg.RatePerS*cfg.PeriodS+1e-9 {
				t.Fatalf("output moved from %g to %g, allowed is %g", last, o.Output, cfg.RatePerS*cfg.PeriodS)
			}
			last = o.Output
			if rapid.Bool().Draw(t, "cut") {
				last = rapid.Float64Range(cfg.Min, cfg.Max).Draw(t, "applied")
				c.Applied(last)
			}
		}
	})
}

// A change of mode, in any direction and with any jump of the set points,
// leaves the output where it was.
func TestChangeOfModeIsBumpless(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := drawConfig(t)
		c, err := New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		num := rapid.Float64Range(-20, 20)
		in := In{Mode: drawMode(t), ManualOutput: rapid.Float64Range(-50, 120).Draw(t, "manual")}
		for range rapid.IntRange(1, 20).Draw(t, "scans before") {
			in.SetPoint, in.Remote, in.Measured, in.FeedForward = num.Draw(t, "r"), num.Draw(t, "remote"), num.Draw(t, "y"), num.Draw(t, "ff")
			c.Step(in)
		}
		went := rapid.Float64Range(cfg.Min, cfg.Max).Draw(t, "applied")
		c.Applied(went)
		next := in
		next.Mode = rapid.SampledFrom([]Mode{Auto, Cascade}).Filter(func(m Mode) bool { return m != in.Mode }).Draw(t, "next mode")
		next.SetPoint, next.Remote, next.Measured = num.Draw(t, "r"), num.Draw(t, "remote"), num.Draw(t, "y")
		if o := c.Step(next); !near(o.Output, went, 1e-9) {
			t.Fatalf("output went from %g to %g on %v to %v", went, o.Output, in.Mode, next.Mode)
		}
		// Into manual: the operator's value starts at the output he sees.
		next.Mode, next.ManualOutput = Manual, went
		if o := c.Step(next); !near(o.Output, went, 1e-9) {
			t.Fatalf("into manual: output went from %g to %g", went, o.Output)
		}
	})
}

// The same scan input before and after a change of gains gives the same
// output: what the old gains would have given.
func TestChangeOfGainsIsBumpless(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		cfg := drawConfig(t)
		cfg.Min, cfg.Max, cfg.RatePerS = -1e9, 1e9, 0
		c, err := New(cfg)
		if err != nil {
			t.Fatal(err)
		}
		num := rapid.Float64Range(-20, 20)
		var in In
		for range rapid.IntRange(1, 20).Draw(t, "scans before") {
			in = In{Mode: Auto, SetPoint: num.Draw(t, "r"), Measured: num.Draw(t, "y"), FeedForward: num.Draw(t, "ff")}
			c.Step(in)
		}
		next := drawGains(t, "next")
		before := *c
		before.settle()
		wish := before.out.P + before.integral + before.out.D
		if err := c.SetGains(next); err != nil {
			t.Fatal(err)
		}
		after := next.Kc*(next.B*in.SetPoint-in.Measured) + c.integral + next.Kc*next.TdS*c.slope.perS
		if tol := 1e-9 * (1 + math.Abs(c.integral) + math.Abs(before.integral)); !near(after, wish, tol) {
			t.Fatalf("wish moved from %g to %g", wish, after)
		}
	})
}

// The same as seen from outside, on a steady ramp with derivative action.
func TestChangeOfGainsOnARamp(t *testing.T) {
	c := mustNew(t, Config{Gains: Gains{Kc: 2, TiS: 20, TdS: 4, N: 8, B: 1}, PeriodS: 0.1, Min: -1e6, Max: 1e6})
	y, last := 0.0, 0.0
	for range 600 {
		y += 0.02
		last = c.Step(In{Mode: Auto, SetPoint: 50, Measured: y}).Output
	}
	if err := c.SetGains(Gains{Kc: 10, TiS: 60, TdS: 1, N: 8, B: 0.2, C: 0.5}); err != nil {
		t.Fatal(err)
	}
	o := c.Step(In{Mode: Auto, SetPoint: 50, Measured: y + 0.02})
	// One scan of ramp and integral is all that may show: 10*0.02 + 2*0.1/20*38.
	if !near(o.Output, last, 0.6) {
		t.Errorf("output went from %g to %g", last, o.Output)
	}
	if !near(o.D, -10*1*0.2, 1e-6) {
		t.Errorf("D is %g, want the ramp of 0.2 per s times the new Kc Td at once", o.D)
	}
	if err := c.SetGains(Gains{}); err == nil {
		t.Error("gains of zero were accepted")
	}
}

// First-order plant at its limit for long: with either way of anti-windup the
// output leaves the limit as soon as the wish does, and does not overshoot
// where a plain integral would.
func TestNoWindup(t *testing.T) {
	run := func(aw AntiWindup, apply func(float64) float64) (overshoot, plain float64) {
		c := mustNew(t, Config{Gains: Gains{Kc: 2, TiS: 10, B: 1}, PeriodS: 0.1, Min: 0, Max: 1.2, AntiWindup: aw})
		y, yPlain, integral := 0.0, 0.0, 0.0
		for k := range 6000 {
			r := 2.0 // out of reach
			if k > 2000 {
				r = 0.8
			}
			u := apply(c.Step(In{Mode: Auto, SetPoint: r, Measured: y}).Output)
			c.Applied(u)
			y += 0.1 / 10 * (u - y)
			e := r - yPlain
			v := max(0, min(1.2, 2*e+integral))
			integral += 2 * 0.1 / 10 * e
			yPlain += 0.1 / 10 * (v - yPlain)
			if k > 2400 { // the plant needs a while to come down at all
				overshoot = max(overshoot, y-r)
				plain = max(plain, yPlain-r)
			}
		}
		return overshoot, plain
	}
	for _, aw := range []AntiWindup{BackCalculation, Conditional} {
		over, plain := run(aw, func(u float64) float64 { return u })
		if over > 0.02 || plain < 0.3 {
			t.Errorf("mode %d: overshoot %g (want below 0.02), plain integral %g (want above 0.3 to mean anything)", aw, over, plain)
		}
		// The limit sits behind the controller: only Applied tells of it.
		if over, _ := run(aw, func(u float64) float64 { return min(u, 0.9) }); over > 0.02 {
			t.Errorf("mode %d: overshoot %g with the limit outside, want below 0.02", aw, over)
		}
	}
}

func TestTrackStartsFromTheTrackedOutput(t *testing.T) {
	c := mustNew(t, Config{Gains: Gains{Kc: -3, TiS: 10, TdS: 2, N: 8, B: 1}, PeriodS: 0.1, Min: 0, Max: 100})
	c.Track(42)
	c.Track(math.NaN()) // no news
	if o := c.Step(In{Mode: Auto, SetPoint: 200, Measured: 190, FeedForward: 7}); !near(o.Output, 42, 1e-12) {
		t.Errorf("output %g, want 42", o.Output)
	}
}

func TestOuterLoopFollowsAnInnerLoopThatLeftCascade(t *testing.T) {
	outer := mustNew(t, Config{Gains: Gains{Kc: 4, TiS: 60, B: 1}, PeriodS: 0.1, Min: 120, Max: 320})
	inner := mustNew(t, Config{Gains: Gains{Kc: 0.01, TiS: 10, B: 1}, PeriodS: 0.1, Min: 0, Max: 1})
	for range 500 { // inner in Auto at 240, outer initialised by it
		inner.Step(In{Mode: Auto, SetPoint: 240, Measured: 235})
		outer.Track(240)
	}
	duty := inner.out.Output
	o := outer.Step(In{Mode: Auto, SetPoint: 180, Measured: 150})
	if !near(o.Output, 240, 1e-9) {
		t.Errorf("outer output at take-over %g, want the inner set point 240", o.Output)
	}
	i := inner.Step(In{Mode: Cascade, SetPoint: 999, Remote: o.Output, Measured: 235})
	if i.SetPoint != o.Output || !near(i.Output, duty, 1e-9) {
		t.Errorf("inner %+v, want set point %g and output %g", i, o.Output, duty)
	}
}

// A jump of the set point at a change of mode is no slope, and the slope of
// the reading goes on.
func TestChangeOfModeKeepsTheSlopeOfTheReading(t *testing.T) {
	c := mustNew(t, Config{Gains: Gains{Kc: 2, TiS: 20, TdS: 4, N: 8, B: 1, C: 1}, PeriodS: 0.1, Min: -1e6, Max: 1e6})
	y := 0.0
	for range 300 {
		y += 0.02
		c.Step(In{Mode: Auto, SetPoint: 50, Remote: 900, Measured: y})
	}
	if o := c.Step(In{Mode: Cascade, SetPoint: 50, Remote: 900, Measured: y + 0.02}); !near(o.D, -2*4*0.2, 1e-6) {
		t.Errorf("D %g at the change of mode, want that of the ramp, %g", o.D, -2*4*0.2)
	}
}

// What is cut while holding belongs to no scan of control.
func TestHoldClosesTheScanBeforeIt(t *testing.T) {
	c := mustNew(t, Config{Gains: Gains{Kc: 2, TiS: 10, B: 1}, PeriodS: 0.1, Min: 0, Max: 100})
	in := In{Mode: Auto, SetPoint: 20, Measured: 10}
	c.Step(in)
	c.Hold()
	c.Applied(0)
	if o := c.Step(in); !near(o.I, 2*0.1/10*10, 1e-12) {
		t.Errorf("integral %g after a hold that was cut, want the one scan of control, 0.2", o.I)
	}
}

// A tracking time shorter than the period must not make the integral swing.
func TestShortTrackingTimeIsStable(t *testing.T) {
	c := mustNew(t, Config{Gains: Gains{Kc: 1, TiS: 0.03, B: 1}, PeriodS: 0.1, Min: 0, Max: 1})
	for range 500 {
		if o := c.Step(In{Mode: Auto, SetPoint: 5}); math.Abs(o.Wish) > 50 {
			t.Fatalf("wish runs to %g", o.Wish)
		}
	}
}

func TestModeNames(t *testing.T) {
	for m, want := range map[Mode]string{Manual: "manual", Auto: "automatic", Cascade: "cascaded"} {
		if got := m.String(); got != want {
			t.Errorf("mode %d is %q, want %q", m, got, want)
		}
	}
}

func TestStepDoesNotAllocate(t *testing.T) {
	c := mustNew(t, Config{Gains: Gains{Kc: 2, TiS: 10, TdS: 1, N: 10, B: 1}, PeriodS: 0.1, Min: 0, Max: 1})
	g := c.Gains()
	if n := testing.AllocsPerRun(100, func() {
		c.Step(In{Mode: Auto, SetPoint: 1, Measured: 0.5})
		c.Applied(0.4)
		if err := c.SetGains(g); err != nil {
			t.Fatal(err)
		}
	}); n != 0 {
		t.Errorf("%g allocations per scan, want 0", n)
	}
}

func BenchmarkStep(b *testing.B) {
	c := mustNew(b, Config{Gains: Gains{Kc: 2, TiS: 10, TdS: 1, N: 10, B: 1}, PeriodS: 0.1, Min: 0, Max: 1})
	b.ReportAllocs()
	for b.Loop() {
		c.Step(In{Mode: Auto, SetPoint: 1, Measured: 0.5})
		c.Applied(0.4)
	}
}

package learn

import (
	"math"
	"testing"

	"pgregory.net/rapid"

	"drumwright/control/beanloop"
	"drumwright/io/peertest"
)

func dynamics() Dynamics {
	return Dynamics{Gains: beanloop.DefaultGains(), LookS: 6, ProbeTauS: 30}
}

// played is a batch on a machine that obeys the error law exactly, integrated in
// steps far finer than those of the code under test, with a rate disturbance
// that the loop does not know and a learned rate that acts.
func played(disturb func(tS float64) float64, rate []float64) *Course {
	c := &Course{Batch: 1, TurnS: 70, DropS: 630, GreenKg: 1, RoomC: 25, SkinAtC: 220, LnTau: 0, LnHeat: 0}
	d := dynamics()
	const h = 0.05
	var late, bean, probe, effLate, effBean, effProbe float64
	for n := 0; n < int(630/h); n++ {
		t := float64(n) * h
		tauC, k2 := d.Gains.At(t)
		x := at(rate, t)
		late += h / d.LookS * (x - late)
		bean += h * (late + disturb(t) - bean/tauC - k2*probe)
		probe += h / d.ProbeTauS * (bean - probe)
		effLate += h / d.LookS * (x - effLate)
		effBean += h * (effLate - effBean/tauC - k2*effProbe)
		effProbe += h / d.ProbeTauS * (effBean - effProbe)
		if n%10 != 0 {
			continue
		}
		i := int(t / binS)
		for len(c.bins) <= i {
			c.bins = append(c.bins, bin{})
		}
		b := &c.bins[i]
		b.errSum -= probe
		b.effect += effProbe
		b.acted += x
		b.n, b.scans, b.led = b.n+1, b.scans+1, b.led+1
	}
	return c
}

func bump(tS float64) float64 {
	return -0.012*math.Exp(-math.Pow((tS-350)/60, 2)) - 0.006*math.Exp(-math.Pow((tS-520)/40, 2))
}

// What repeats is learned away within three batches, and what the rms would have
// been without it is reckoned rightly.
func TestLearnsWhatRepeats(t *testing.T) {
	p := Path{}
	first := 0.0
	for i := range 4 {
		c := played(bump, p.RateKPerS)
		with, without := c.Rms()
		if i == 0 {
			first = with
		}
		if math.Abs(without-first) > 0.01 {
			t.Errorf("batch %d: reckoned %.3f °C without lessons, it was %.3f", i+1, without, first)
		}
		if i == 3 && with > 0.2*first {
			t.Errorf("after three batches the rms is %.3f °C of %.3f", with, first)
		}
		p = p.After(c, dynamics(), 220)
	}
	if first < 0.05 {
		t.Fatalf("the disturbance is too small to tell anything: %.3f °C", first)
	}
	if len(p.Kept) != 4 || p.Batches != 4 {
		t.Errorf("%d batches kept, %d counted", len(p.Kept), p.Batches)
	}
}

// The correction neither leads nor lags: its centre of gravity is where that of
// the disturbance is.
func TestLearnsWithoutPhaseLag(t *testing.T) {
	one := func(tS float64) float64 { return -0.006 * math.Exp(-math.Pow((tS-350)/50, 2)) }
	p := Path{}
	for range 3 {
		p = p.After(played(one, p.RateKPerS), dynamics(), 220)
	}
	sum, at := 0.0, 0.0
	for k, r := range p.RateKPerS {
		sum += r
		at += r * GridS * float64(k)
	}
	// The rate acts through the air loop's lag of 6 s, so it must come that early.
	if at /= sum; math.Abs(at-(350-6)) > 5 {
		t.Errorf("the correction is centred at %.1f s, the disturbance at 350 s", at)
	}
}

// A batch that went worse than it would have without its lessons loses the last
// of them.
func TestTakesBack(t *testing.T) {
	p := Path{}
	p = p.After(played(bump, nil), dynamics(), 220)
	good := p.RateKPerS
	p = p.After(played(bump, good), dynamics(), 220)
	opposite := func(tS float64) float64 { return -2 * bump(tS) }
	p = p.After(played(opposite, p.RateKPerS), dynamics(), 220)
	if k := p.Kept[2]; !k.TookBack || k.RmsC < k.WithoutC+worseC {
		t.Fatalf("not taken back: %+v", k)
	}
	for i := range good {
		if p.RateKPerS[i] != good[i] {
			t.Fatalf("the rate is not the one before: %v, want %v", p.RateKPerS, good)
		}
	}
	p = p.After(played(opposite, p.RateKPerS), dynamics(), 220)
	if p.RateKPerS != nil {
		t.Errorf("worse once more, and still a rate: %v", p.RateKPerS)
	}
}

func TestNothingToLearnFrom(t *testing.T) {
	for name, spoil := range map[string]func(*Course){
		"broken off":   func(c *Course) { c.Disturbed = "it was broken off" },
		"never turned": func(c *Course) { c.TurnS = 0 },
		"at a limit": func(c *Course) {
			for i := range c.bins {
				c.bins[i].limited = i%4 == 0
			}
		},
		"no curve": func(c *Course) {
			for i := range c.bins {
				c.bins[i].n = 0
			}
		},
	} {
		c := played(bump, nil)
		spoil(c)
		if p := (Path{}).After(c, dynamics(), 220); p.RateKPerS != nil {
			t.Errorf("%s: learned %v", name, p.RateKPerS)
		}
	}
}

// Whatever a batch was like, what is learned stays in its bounds and finite.
func TestBounds(t *testing.T) {
	peertest.OnceIsEnough(t)
	rapid.Check(t, func(t *rapid.T) {
		c := played(bump, nil)
		wild := rapid.SampledFrom([]float64{0, 1, -1, 50, -50, 1e6, math.NaN(), math.Inf(1)})
		for i := range c.bins {
			if rapid.IntRange(0, 9).Draw(t, "hit") == 0 {
				c.bins[i].errSum += wild.Draw(t, "err")
				c.bins[i].limited = rapid.Bool().Draw(t, "limited")
			}
		}
		c.LnTau, c.LnHeat = wild.Draw(t, "tau"), wild.Draw(t, "heat")
		c.SkinAtC, c.GreenKg = wild.Draw(t, "skin"), wild.Draw(t, "green")
		p := Path{}.After(c, dynamics(), 220)
		m := Machine{}.After(c)
		for _, r := range p.RateKPerS {
			if !(math.Abs(r) <= rateMaxKPerS) {
				t.Fatalf("rate %g", r)
			}
		}
		if !(math.Abs(p.LnHeat) <= lnHeatMax && m.LnTau >= lnTauMin && m.LnTau <= lnTauMax) {
			t.Fatalf("heat %g, tau %g", p.LnHeat, m.LnTau)
		}
		for _, k := range p.SkinLeadK {
			if !(math.Abs(k) <= skinLeadMaxK) {
				t.Fatalf("lead %g", k)
			}
		}
		if s := p.Share(1, 25); !(s >= 0 && s <= 1) {
			t.Fatalf("share %g", s)
		}
	})
}

// A small system solved by hand: [[4,2],[2,3]] x = [2,5] has x = [-1/2, 2].
func TestSolve(t *testing.T) {
	x := solve([][]float64{{4, 0}, {2, 3}}, []float64{2, 5})
	if math.Abs(x[0]+0.5) > 1e-12 || math.Abs(x[1]-2) > 1e-12 {
		t.Errorf("got %v", x)
	}
}

// A lesson is trusted whole for a like batch, less for another mass or season,
// not at all far away or when nothing was learned.
func TestShare(t *testing.T) {
	p := Path{RateKPerS: make([]float64, 60), GreenKg: 1, RoomC: 20}
	for _, c := range []struct{ kg, room, lo, hi float64 }{
		{1, 20, 1, 1}, {1, math.NaN(), 1, 1}, {1.05, 20, 0.7, 0.9}, {1.3, 20, 0, 0}, {1, 40, 0.4, 0.6}, {1, 70, 0, 0}, {0, 20, 0, 0},
	} {
		if s := p.Share(c.kg, c.room); !(s >= c.lo && s <= c.hi) {
			t.Errorf("%g kg at %g °C: %g, want %g to %g", c.kg, c.room, s, c.lo, c.hi)
		}
	}
	if s := (&Path{}).Share(1, 20); s != 0 {
		t.Errorf("nothing learned, share %g", s)
	}
}

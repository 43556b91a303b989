package safety_test

import (
	"math"
	"testing"

	"drumwright/io/peertest"
	"drumwright/io/point"
)

// bedRig is a rig in a roast whose bed has figures: 1 kg that takes up 2 kJ/K,
// air that gives it 9.6 W for each kelvin between them (40 kg/h, exchange of
// 20 W/K: 11.33 W/K × (1 - exp(-20/11.33)), by hand), no drum.
func bedRig(t *testing.T) *rig {
	t.Helper()
	m := fullMachine()
	m.Bed.GasToBeans, m.Bed.ProbeLagS = 20, 30
	r := newRig(t, m)
	r.roast()
	r.greenKg = 1
	r.w.Out[point.BlowerSpeed] = 40
	r.set(point.InletAir, 230)
	r.runS(40)
	if r.g.Tripped() {
		t.Fatalf("tripped by %v", r.g.Latched())
	}
	return r
}

// A bean probe behind its lag, in beans that take up power from elsewhere too;
// the inlet air follows a loop that keeps the probe rising by 0.2 K/s.
type bed struct {
	beanC, probeC, lagS, airC, otherW float64
}

func (b *bed) step(r *rig) {
	const wPerK = 9.6
	b.beanC += r.dt * (wPerK*(b.airC-b.beanC) + b.otherW) / 2000
	was := b.probeC
	b.probeC += r.dt / b.lagS * (b.beanC - b.probeC)
	rise := (b.probeC - was) / r.dt
	b.airC = math.Max(120, math.Min(330, b.airC+r.dt*math.Max(-4, math.Min(4, 20*(0.2-rise)))))
	r.set(point.Bean, b.probeC)
	r.set(point.InletAir, b.airC)
}

// A loop that withdraws its heat does not hide a fire; what roasting, a wrong
// probe lag or a stronger air give is no fire. The fire is that of the hazard
// list's test, 3 kW; twice the natural reaction heat is 0.9 kW/kg at its most
// (116.2 kW/kg × 10³ exp(-5500/T) at 200 °C, Schwartzberg 2002 as quoted in Vosloo
// 2017, original not seen; less what has reacted), and builds up over minutes.
func TestHeatThatNobodyGave(t *testing.T) {
	peertest.OnceIsEnough(t)
	for name, c := range map[string]struct {
		otherW, overS, lagS float64
		trips               bool
	}{
		"fire":                   {3000, 0, 30, true},
		"fire under a slow one":  {3000, 0, 42, true},
		"fire under a quick one": {3000, 0, 18, true},
		"roasting":               {450, 60, 30, false},
		"twice that":             {900, 120, 30, false},
		"drying ends":            {400, 20, 30, false},
	} {
		t.Run(name, func(t *testing.T) {
			r := bedRig(t)
			b := bed{beanC: 150, probeC: 150, lagS: c.lagS, airC: 230}
			r.each = func(r *rig) { b.step(r) }
			r.runS(60) // the loop comes to rest
			for n := 0; n < 600 && !r.g.Tripped(); n++ {
				b.otherW = c.otherW * math.Min(1, float64(n)*r.dt/math.Max(c.overS, r.dt))
				r.scan()
			}
			if r.g.Tripped() != c.trips || c.trips && r.rec.Safety.First != "beans_gain_heat" {
				t.Errorf("tripped: %v by %s at bean %.0f °C, air %.0f °C; want %v", r.g.Tripped(), r.rec.Safety.First, b.beanC, b.airC, c.trips)
			}
		})
	}
}

// What cannot be known is no evidence: not the mass, not the air, not a probe
// that jumps.
func TestNoHeatWithoutProof(t *testing.T) {
	for name, spoil := range map[string]func(*rig){
		"mass not known":     func(r *rig) { r.greenKg = 0 },
		"inlet not readable": func(r *rig) { r.bad(point.InletAir, point.Timeout, 0.5) },
		"just charged":       func(r *rig) { r.sinceS = 30 },
		"probe jumps":        func(r *rig) { r.lastBase[point.Bean] += 6 * math.Mod(float64(r.n), 2) },
	} {
		t.Run(name, func(t *testing.T) {
			r := bedRig(t)
			r.ramp[point.Bean] = 1
			r.each = spoil
			r.runS(25)
			if r.latched("beans_gain_heat") {
				t.Error("heat is called unexplained")
			}
		})
	}
}

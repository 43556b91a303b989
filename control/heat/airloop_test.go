package heat

import (
	"fmt"
	"math"
	"testing"
)

var airMachines = map[string]AirLoopParams{"small": smallAir, "large": largeAir}

func newAirRun(t testing.TB, model, truth AirLoopParams) *airRun {
	t.Helper()
	l, err := NewAirLoop(model)
	if err != nil {
		t.Fatal(err)
	}
	return &airRun{loop: l, plant: newAirPlant(truth)}
}

func TestScratch(t *testing.T) {
	for _, h := range []float64{0.1, 0.5} {
		for name, p := range airMachines {
			p.PeriodS = h
			for _, share := range []float64{0.6, 0.8, 1, 1.2} {
				for _, mm := range []struct {
					n            string
					heat, ex, mn float64
				}{{"nominal", 1, 1, 1}, {"C+20 hA-15", 1.2, 0.85, 1}, {"C-20 hA+15", 0.8, 1.15, 1}, {"mains-10", 1, 1, math.Sqrt(0.9)}} {
					r := newAirRun(t, p, p)
					r.plant.heatErr, r.plant.exchangeErr, r.plant.mains = mm.heat, mm.ex, mm.mn
					f := always(share * p.NominalFlowKgPerS)
					cold := r.forS(400, always(150), f)
					s := r.forS(200, always(250), f)
					z := r.out.Adaptation
					dn := r.forS(300, always(150), f)
					fmt.Printf("h%.1f %s %.1f %-10s cold over %.2f settle %.0f | step over %.2f settle %.1f end %.2f z %.3f | down under %.2f settle %.0f\n", h, name, share, mm.n, highest(cold)-150, settledAfterS(cold, 150, 2, h), highest(s)-250, settledAfterS(s, 250, 2, h), s[len(s)-1]-250, z, 150-lowest(dn), settledAfterS(dn, 150, 2, h))
				}
			}
			for _, d := range []float64{0.7, 1.3} {
				r := newAirRun(t, p, p)
				base := 0.8 * p.NominalFlowKgPerS
				r.forS(400, always(150), always(base))
				r.forS(300, always(250), always(base))
				s := r.forS(150, always(250), func(t float64) float64 { return base * (1 + (d-1)*min(1, t/10)) })
				fmt.Printf("h%.1f %s flow x%.1f: %.2f %.2f\n", h, name, d, highest(s)-250, lowest(s)-250)
			}
		}
	}
}

package heat

import (
	"fmt"
	"math"
	"testing"
)

func TestScratchBase(t *testing.T) {
	for _, m := range []struct {
		n          string
		p          BaseLoopParams
		link, flow float64
	}{{"small", smallBase, 8, 0.0035}, {"large", largeBase, 20, 0.011}} {
		fmt.Println(m.n, m.p.Tuning())
		for _, mm := range []struct {
			n            string
			heat, ls, mn float64
		}{{"nominal", 1, 1, 1}, {"+25", 1.25, 1.25, 1}, {"-25", 0.75, 0.75, 1}, {"mains-10", 1, 1, math.Sqrt(0.9)}} {
			for _, inlet := range []float64{25, 200} {
				p := m.p
				l, err := NewBaseLoop(p)
				if err != nil {
					t.Fatal(err)
				}
				r := &baseRun{loop: l, plant: newBasePlant(p, m.link, m.flow)}
				r.plant.heatErr, r.plant.lossErr, r.plant.mains = mm.heat, mm.ls, mm.mn
				cold := r.forS(6000, always(180), always(inlet))
				I1 := l.pid.Step
				_ = I1
				s := r.forS(3000, always(220), always(inlet))
				d := r.forS(4000, always(180), always(inlet))
				fmt.Printf("%s %-8s in %.0f cold over %.2f settle %.0f | step over %.2f settle %.0f end %.2f | down under %.2f settle %.0f  fb %.0f\n", m.n, mm.n, inlet, highest(cold)-180, settledAfterS(cold, 180, 2, .5), highest(s)-220, settledAfterS(s, 220, 2, .5), s[len(s)-1]-220, 180-lowest(d), settledAfterS(d, 180, 2, .5), r.out.FeedbackW)
				if mm.n == "nominal" && inlet == 200 {
					a := r.forS(1500, always(180), func(t float64) float64 { return 200 + min(30, 4*t) })
					fmt.Printf("   air 200-230: +%.2f\n", highest(a)-180)
				}
			}
		}
	}
}

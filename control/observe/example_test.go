package observe_test

import (
	"fmt"
	"math"

	"drumwright/control/observe"
)

// A batch for one minute: the probe still shows the charge plunge, the estimate
// already knows the beans.
func ExampleFilter() {
	p := observe.DefaultParams()
	p.HAGbWPerK, p.HADbWPerK, p.HAGdWPerK = 11.8, 1.51, 2.5
	p.G0KgPerS, p.BatchKg = 0.011, 1

	var f observe.Filter
	if err := f.Start(p, 25, true, 203); err != nil {
		fmt.Println(err)
		return
	}
	for s := 0.1; s < 60; s += p.StepS {
		f.Predict(203+s/4, 171+s/4, 0.011)
		f.Update(70 + 133*math.Exp(-s/20) + 0.14*s)
	}
	e := f.Estimate()
	fmt.Printf("usable %v, probe %.0f °C, bean within %.1f K, weight lost %.1f %%\n",
		e.Usable, e.ProbeC, e.BeanSdC, 100*e.LossFraction)
	// Output: usable true, probe 85 °C, bean within 0.8 K, weight lost 0.0 %
}

func ExampleInletLead() {
	l := observe.InletLead{TauS: 4, StepS: 0.5}
	l.Step(200)
	fmt.Printf("%.2f\n", l.Step(201)) // the probe has begun to rise: the air rose more
	// Output: 203.36
}

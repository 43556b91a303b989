package beanloop_test

import (
	"fmt"

	"drumwright/control/beanloop"
	"drumwright/control/observe"
)

func ExampleCurve() {
	curve, err := beanloop.NewCurve([]beanloop.Point{
		{TimeS: 120, TempC: 95}, {TimeS: 240, TempC: 144}, {TimeS: 360, TempC: 174},
		{TimeS: 480, TempC: 193}, {TimeS: 620, TempC: 208},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, tS := range []float64{10, 240, 620} {
		v, s, _ := curve.At(tS)
		fmt.Printf("%3.0f s: %3.0f °C, %2.0f K/min\n", tS, v, 60*s)
	}
	// Output:
	//  10 s:  25 °C, 47 K/min
	// 240 s: 144 °C, 19 K/min
	// 620 s: 208 °C,  5 K/min
}

// One scan: the beans lag the curve, so more heat is asked for, at the slew
// limit of 4 K/s.
func ExampleLoop() {
	m := observe.DefaultParams()
	m.HAGbWPerK, m.HADbWPerK, m.HAGdWPerK = 11.8, 1.51, 2.5
	m.G0KgPerS, m.BatchKg = 0.011, 1
	var loop beanloop.Loop
	if err := loop.Start(beanloop.DefaultParams(m), 245); err != nil {
		fmt.Println(err)
		return
	}
	e := observe.Estimate{BeanC: 126, ProbeC: 121, RateKPerS: 0.32, MoistureDB: 0.121,
		DryFraction: 0.9999, ReactionKJPerKg: 3.4, TauS: 30, HeatFactor: 1}
	target := beanloop.Target{NowC: 123, AheadC: 125, AheadKPerS: 0.34, AheadKPerS2: -0.0012}
	out := loop.Step(target, e, beanloop.Input{SinceChargeS: 190, InletC: 245, SkinC: 216, FlowKgPerS: 0.011})
	fmt.Printf("set %.1f °C on the way to %.0f °C, at a limit: %v\n", out.SetC, out.WantedC, out.AtLow || out.AtHigh)
	// Output: set 245.4 °C on the way to 248 °C, at a limit: false
}

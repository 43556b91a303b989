package heat_test

import (
	"fmt"

	"drumwright/control/heat"
	"drumwright/control/pid"
)

// One scan of the air loop: readings in, duty out, and back what the gate has
// made of it.
func ExampleAirLoop() {
	loop, err := heat.NewAirLoop(heat.AirLoopParams{
		PeriodS: 0.1, MaxPowerW: 4000, ElementHeatJPerK: 160, ElementHAWPerK: 20,
		NominalFlowKgPerS: 0.011, DuctLagS: 2, ProbeTauS: 4,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	in := heat.AirIn{Mode: pid.Manual, ManualDuty: 0.25, SetC: 200, MeasuredC: 105, IntakeC: 25, FlowKgPerS: 0.011}
	out := loop.Step(in)
	loop.Track(out.Duty)
	fmt.Printf("%s: %.0f W\n", in.Mode, out.PowerW)

	in.Mode = pid.Auto
	out = loop.Step(in)
	loop.Track(out.Duty)
	fmt.Printf("%s: %.0f W\n", in.Mode, out.PowerW)

	in.FlowKgPerS = 0.002
	out = loop.Step(in)
	fmt.Printf("too little air: %.0f W, low flow %v\n", out.PowerW, out.LowFlow)
	// Output:
	// manual: 1000 W
	// automatic: 1000 W
	// too little air: 0 W, low flow true
}

// The base loop starts from the reading: a set point far away is no step.
func ExampleBaseLoop() {
	loop, err := heat.NewBaseLoop(heat.BaseLoopParams{
		PeriodS: 0.1, MaxPowerW: 1300, DrumHeatJPerK: 2000, DrumLossWPerK: 1.6, GasExchangeWPerK: 2.5,
		PanelHeatJPerK: 900, PanelAreaM2: 0.05, PanelEmissivity: 0.7, PanelLossWPerK: 0.5,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	out := loop.Step(heat.BaseIn{Mode: pid.Auto, SetC: 180, SkinC: 20, AmbientC: 20, InletC: 20, FlowKgPerS: 0.011})
	fmt.Printf("set point %.0f °C, reference %.1f °C, duty %.2f\n", out.SetC, out.ReferenceC, out.Duty)
	// Output: set point 180 °C, reference 20.0 °C, duty 0.00
}

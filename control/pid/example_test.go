package pid_test

import (
	"fmt"

	"drumwright/control/pid"
)

// A heater that an interlock may cut behind the controller: what really went
// out is told after every scan, so nothing winds up while it is cut.
func ExampleController() {
	kc, ti, td := pid.SIMC(0.3, 14, 4, 1.2, 4).Ideal()
	c, err := pid.New(pid.Config{
		Gains:   pid.Gains{Kc: kc, TiS: ti, TdS: td, N: 8, B: 0.5},
		PeriodS: 0.1, Min: 0, Max: 100,
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	out := c.Step(pid.In{Mode: pid.Manual, Measured: 180, ManualOutput: 30})
	c.Applied(out.Output)
	out = c.Step(pid.In{Mode: pid.Auto, SetPoint: 200, Measured: 180})
	fmt.Printf("%.1f %% at the switch to automatic\n", out.Output)
	c.Applied(0)
	// Output: 30.0 % at the switch to automatic
}

func ExampleProportioner() {
	p, err := pid.NewProportioner(1, 0, 0, 0.1)
	if err != nil {
		fmt.Println(err)
		return
	}
	for range 2 {
		for range 10 {
			if p.Step(0.35) {
				fmt.Print("#")
			} else {
				fmt.Print(".")
			}
		}
		fmt.Print(" ")
	}
	// Output: ####...... ###.......
}

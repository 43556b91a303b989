package drum_test

import (
	"fmt"

	"drumwright/control/drum"
)

func ExampleDrive() {
	d, err := drum.NewDrive(86.5, 6.587)
	if err != nil {
		fmt.Println(err)
		return
	}
	v := d.SkinFromHz(58)
	fmt.Printf("%.0f mm/s, %.1f rpm, Froude %.2f\n",
		v, d.RPMFromSkin(v), d.Froude(v))
	// Output: 382 mm/s, 42.2 rpm, Froude 0.17
}

func ExampleFollower() {
	s, err := drum.NewSchedule([]drum.Point{{0, 428}, {0.06, 382}, {0.12, 343}, {0.20, 296}})
	if err != nil {
		fmt.Println(err)
		return
	}
	f, err := drum.NewFollower(s, drum.Limits{MinMMS: 200, MaxMMS: 450, SlewMMSPerS: drum.DefaultSlewMMSPerS})
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Printf("%.0f mm/s\n", f.Step(0.06, 1)) // one second after a jump in loss
	fmt.Printf("%.0f mm/s\n", f.Step(0.06, 60))
	fmt.Printf("%.0f mm/s\n", f.Step(0.02, 60)) // progress never goes back
	// Output:
	// 425 mm/s
	// 382 mm/s
	// 382 mm/s
}

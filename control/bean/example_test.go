package bean_test

import (
	"fmt"

	"drumwright/control/bean"
)

// A batch of 11 % moisture (wet basis) that lost 5 % of its dry matter and
// dried to 2 % (dry basis).
func ExampleLossFraction() {
	x0 := bean.MoistureDryBasis(0.11)
	loss := bean.LossFraction(0.95, 0.02, x0)
	fmt.Printf("%.1f %% lost, %.2f times the volume\n", 100*loss, bean.VolumeRatio(0.95))
	// Output: 13.8 % lost, 1.40 times the volume
}

func ExampleKinetics() {
	k := bean.DefaultKinetics()
	fmt.Printf("at 196 °C: %.2f g water/(kg s), %.0f W/kg\n",
		-1000*k.DryingRatePerS(0.05, 196), 1000*k.ExothermKWPerKg(80, 196))
	// Output: at 196 °C: 0.38 g water/(kg s), 308 W/kg
}

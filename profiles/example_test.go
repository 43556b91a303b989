package profiles_test

import (
	"fmt"

	"drumwright/profiles"
)

func ExampleParseRecipe() {
	_, err := profiles.ParseRecipe("quick.yaml", []byte(`recipe: quick
charge: {green: 1 kg, inlet: 397, skin: 180 °C}
stages:
  - {when: bean 150 °C, inlett: 280 °C}
drop: {bean: 205 °C, latest: 13 min}
`))
	fmt.Println(err)
	// Output:
	// quick.yaml:2: charge.inlet: found 397; allowed: 60 °C to 400 °C; add the unit: °C, C, °F or F
	// quick.yaml:4: stages[1].inlett: found an unknown key; allowed: when, inlet, skin, flow, over; perhaps inlet was meant
}

func ExampleParseQuantity() {
	t, err := profiles.ParseQuantity[profiles.Seconds]("2 min 30 s")
	fmt.Println(float64(t), t, err)
	// Output: 150 2 min 30 s <nil>
}

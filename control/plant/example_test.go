package plant_test

import (
	"fmt"

	"drumwright/control/plant"
)

// A warm 1 kg machine is charged and left to fixed powers.
func Example() {
	m, err := plant.New(plant.Kilo(), 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	m.WarmStart(plant.Warm{SkinC: 171, InletC: 203, RadiantW: 1000, ExhaustC: 195, Running: true})
	if err := m.Charge(1.0, 0.11); err != nil {
		fmt.Println(err)
		return
	}
	cmd := plant.Commands{
		DrumRun: true, DrumHz: 57, BlowerRun: true, BlowerHz: 50,
		AirHeaterDuty: 0.75, RadiantDuty: 0.75, HeatEnable: true,
	}
	for range 4 * 600 { // four minutes of 100 ms scans
		cmd.Heartbeat++
		m.SetCommands(cmd)
		m.Step(0.1)
	}
	t := m.Truth()
	fmt.Printf("probe %.0f °C, beans %.0f °C, lost %.1f %%\n", m.Readings().BeanProbe.C, t.BeanC, 100*t.LossFrac)
	fmt.Printf("drum turning: %v, books out by less than 1 J: %v\n", t.DrumTurning, m.Ledger().ErrorJ() < 1)
	// Output:
	// probe 151 °C, beans 154 °C, lost 1.4 %
	// drum turning: true, books out by less than 1 J: true
}

// A fault is injected by name and seen only through the readings.
func ExampleMachine_Inject() {
	m, err := plant.New(plant.Quarter(), 1)
	if err != nil {
		fmt.Println(err)
		return
	}
	if err := m.Inject("bean_probe_open"); err != nil {
		fmt.Println(err)
		return
	}
	m.Step(0.1)
	fmt.Println(m.Readings().BeanProbe.Status)
	fmt.Println(m.Inject("gremlins") != nil)
	// Output:
	// open
	// true
}

// The true machine is 20 % heavier loaded and its mains sag.
func ExampleParams_With() {
	p := plant.Quarter().With(plant.Mismatch{MassFrac: 0.2, MainsFrac: -0.1})
	fmt.Printf("%.2f kg, %.0f V\n", p.BatchKg, p.MainsV)
	// Output: 0.30 kg, 207 V
}

package record

// Forecast is what a preflight of the loaded recipe has said, before any beans.
type Forecast struct {
	Made          bool // the rest means something
	Reachable     bool
	DropS, DropC  float64
	FirstCrackS   float64 // 0 = none before the drop
	FirstCrackSdS float64
	Loss, LossSd  float64 // share of green mass
	EnergyKWh     float64 // both heaters, charge to drop
	WorstC        float64 // most that the probe is off the curve
	LateS         float64 // most that it runs behind
	Why           string  // first reason against it; "" when reachable
}

// ForecastView is a forecast as programs outside see it.
type ForecastView struct {
	Reachable     bool   `json:"reachable"`
	Why           string `json:"why"` // first reason against it
	DropS         Number `json:"drop_s"`
	DropC         Number `json:"drop_c"`
	FirstCrackS   Number `json:"first_crack_s"` // null = none before the drop
	FirstCrackSdS Number `json:"first_crack_sd_s"`
	Loss          Number `json:"loss"`
	LossSd        Number `json:"loss_sd"`
	EnergyKWh     Number `json:"energy_kwh"`
	WorstC        Number `json:"worst_c"`
	LateS         Number `json:"late_s"`
}

func (f *Forecast) view() *ForecastView {
	if !f.Made {
		return nil
	}
	got := f.DropS != 0
	return &ForecastView{Reachable: f.Reachable, Why: f.Why, DropS: given(got, f.DropS), DropC: given(got, f.DropC),
		FirstCrackS: unless0(f.FirstCrackS, f.FirstCrackS), FirstCrackSdS: unless0(f.FirstCrackS, f.FirstCrackSdS),
		Loss: given(got, f.Loss), LossSd: given(got, f.LossSd), EnergyKWh: given(got, f.EnergyKWh), WorstC: given(got, f.WorstC), LateS: given(got, f.LateS)}
}

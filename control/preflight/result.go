package preflight

import (
	"fmt"
	"math"

	"drumwright/io/record"
)

// Result is what is to be expected. Times are since charge; losses and duties
// are shares.
type Result struct {
	Machine     string `json:"machine"`
	MachineHash string `json:"machine_hash"`
	Recipe      string `json:"recipe"`
	RecipeHash  string `json:"recipe_hash"`
	Curve       bool   `json:"curve"` // led by a bean curve, not by stages of inlet air

	Reachable bool     `json:"reachable"`
	Why       []string `json:"why"` // what is against it; empty when reachable

	// Probe against curve, from 60 s after the turning point to drop.
	RmsC   float64 `json:"rms_c"`
	MaxC   float64 `json:"max_c"`
	MaxAtS float64 `json:"max_at_s"`
	LateS  float64 `json:"late_s"` // most that the probe runs behind the curve
	Limits []Limit `json:"limits"`

	TurnS        float64 `json:"turn_s"`
	TurnC        float64 `json:"turn_c"`
	CrackS       float64 `json:"first_crack_s"` // 0 = none before the drop
	CrackSdS     float64 `json:"first_crack_sd_s"`
	CrackLoss    float64 `json:"first_crack_loss"`
	CrackBeanC   float64 `json:"first_crack_bean_c"` // where the beans are expected to crack
	CrackBeanSdC float64 `json:"first_crack_bean_sd_c"`
	Heard        int     `json:"heard"`   // batches of the coffee that say so; 0 = a usual one
	Weighed      int     `json:"weighed"` // batches of the coffee by which drying and loss are corrected
	DropS        float64 `json:"drop_s"`  // 0 = never got that far
	DropC        float64 `json:"drop_c"`
	DevelopmentS float64 `json:"development_s"`
	Loss         float64 `json:"loss"`
	LossSd       float64 `json:"loss_sd"` // the controller's own, with what the recipe says of moisture

	EnergyKWh       float64 `json:"energy_kwh"` // both heaters, charge to drop
	AirKWh          float64 `json:"air_kwh"`
	BaseKWh         float64 `json:"radiant_kwh"`
	PeakInletC      float64 `json:"peak_inlet_c"`
	PeakInletAtS    float64 `json:"peak_inlet_at_s"`
	PeakAirDuty     float64 `json:"peak_air_duty"`
	PeakAirDutyAtS  float64 `json:"peak_air_duty_at_s"`
	PeakBaseDuty    float64 `json:"peak_radiant_duty"`
	PeakBaseDutyAtS float64 `json:"peak_radiant_duty_at_s"`

	Moments []Moment `json:"moments"`
}

// Limit is a stretch of the roast in which something has no more to give.
type Limit struct {
	What  string  `json:"what"`
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
	OffC  float64 `json:"off_c"`  // most that the probe is off the curve meanwhile, or skin or inlet air off its set point
	OfWhy string  `json:"off_of"` // what that is off from
	LateS float64 `json:"late_s"` // most that the probe runs behind the curve meanwhile
}

// Moment is the machine at one moment of the roast.
type Moment struct {
	Name       string  `json:"name"`
	AtS        float64 `json:"at_s"`
	ProbeC     float64 `json:"probe_c"`
	BeanC      float64 `json:"bean_c"`
	Loss       float64 `json:"loss"`
	InletC     float64 `json:"inlet_c"`
	SkinC      float64 `json:"skin_c"`
	FlowKgPerH float64 `json:"flow_kg_per_h"`
	DrumMMPerS float64 `json:"drum_mm_per_s"`
	DrumRPM    float64 `json:"drum_rpm"`
	DrumHz     float64 `json:"drum_hz"`
}

// Within these a curve counts as reachable (judgement; 1.0 °C rms is what a
// roast of the same machine may differ from the last without being another one).
const (
	reachRmsC = 1.0
	reachMaxC = 3.0
	// Where a recipe leads the inlet air itself, that may be so far short of its
	// set point for so long. The skin is not judged: the beans' curve is.
	setOffK, shortMaxS = 10.0, 60.0
)

// judge says whether the recipe is reachable, and what is against it.
func (f *flight) judge() {
	r := f.res
	r.Why = []string{}
	no := func(format string, args ...any) { r.Why = append(r.Why, fmt.Sprintf(format, args...)) }
	r.RmsC, r.MaxC, r.MaxAtS, r.LateS = f.off.rms(), f.off.maxC, f.off.maxAtS, f.off.lateS
	r.Limits = f.watch.list
	if r.Limits == nil {
		r.Limits = []Limit{}
	}
	switch {
	case f.trip != nil:
		no("the interlock %s would trip: %s", f.trip.Name, f.trip.Text)
	case r.DropS == 0:
		no("the machine would not be ready: %s", f.rec.Next)
	}
	if r.DropS > 0 && f.trip == nil && r.DropS >= float64(f.recipe.Drop.LatestS)-float64(f.m.Scan.PeriodS) {
		no("no condition of the drop comes true before the latest time, %v; the probe is then at %.1f °C", f.recipe.Drop.LatestS, r.DropC)
	}
	if r.Curve && (r.RmsC > reachRmsC || r.MaxC > reachMaxC) {
		no("the probe leaves the curve by up to %.1f °C, at %s, and runs up to %.0f s behind (rms %.1f °C; allowed are %.0f °C and rms %.0f °C)",
			r.MaxC, clock(r.MaxAtS), r.LateS, r.RmsC, reachMaxC, reachRmsC)
	}
	if w := &f.watch; !r.Curve && w.shortS > shortMaxS {
		no("the air heater at its most leaves the inlet air short of its set point for %.0f s, by up to %.0f K", w.shortS, w.shortK)
	}
	r.Reachable = len(r.Why) == 0
}

// Forecast is the result in short, as the record carries it.
func (r *Result) Forecast() record.Forecast {
	f := record.Forecast{Made: true, Reachable: r.Reachable, DropS: r.DropS, DropC: r.DropC, FirstCrackS: r.CrackS, FirstCrackSdS: r.CrackSdS,
		Loss: r.Loss, LossSd: r.LossSd, EnergyKWh: r.EnergyKWh, WorstC: r.MaxC, LateS: r.LateS}
	if len(r.Why) > 0 {
		f.Why = r.Why[0]
	}
	return f
}

func clock(s float64) string {
	n := int(math.Round(s))
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}

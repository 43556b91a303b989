package observe

import (
	"errors"
	"fmt"

	"drumwright/control/bean"
)

// Params is what the filter knows beforehand about machine and batch. Start
// from DefaultParams; machine conductances and batch have no default.
type Params struct {
	HAGbWPerK float64 // gas to bed at G0KgPerS, W/K
	HADbWPerK float64 // drum wall to bed, W/K
	HAGdWPerK float64 // gas to drum wall, W/K
	G0KgPerS  float64 // air flow at which HAGbWPerK holds, kg/s

	BatchKg          float64 // green weight, kg
	MoistureDB       float64 // green moisture, kg water per kg dry matter
	MoistureMeasured bool    // the moisture is of this lot, not a usual value

	GasShare   float64 // share of the probe's surroundings that is gas, 0 to below 0.5
	GasShareSd float64 // sd of GasShare: 0.022 uncalibrated, about 0.010 calibrated
	ProbeTauS  float64 // nominal lag of the bean probe, s

	// Learned says that LnTau and LnHeat come from earlier batches: the
	// logarithms of probe lag over ProbeTauS and of the heat multiplier.
	Learned       bool
	LnTau, LnHeat float64

	Kinetics bean.Kinetics
	StepS    float64 // scan period, s
	NoiseRK2 float64 // variance of one bean probe reading, K²
}

// DefaultParams returns everything that does not belong to one machine or
// batch. The figures were chosen on simulated roasts; no literature authority.
// A bed that bumps by 0.5 °C over 3 s needs NoiseRK2 of about 3: take the probe
// minus a 30 s local parabola, variance × (1+ρ)/(1-ρ) with ρ the correlation of
// neighbouring readings.
func DefaultParams() Params {
	return Params{
		MoistureDB: bean.MoistureDryBasis(0.11),
		GasShare:   0.10,
		GasShareSd: 0.022,
		ProbeTauS:  30,
		Kinetics:   bean.DefaultKinetics(),
		StepS:      0.1,
		NoiseRK2:   0.025,
	}
}

// Validate reports every parameter outside the range the filter can use.
func (p Params) Validate() error {
	var errs []error
	for _, c := range []struct {
		name      string
		v, lo, hi float64
		unit      string
	}{
		{"HAGbWPerK", p.HAGbWPerK, 0.01, 1e4, "W/K"},
		{"HADbWPerK", p.HADbWPerK, 0, 1e4, "W/K"},
		{"HAGdWPerK", p.HAGdWPerK, 0, 1e4, "W/K"},
		{"G0KgPerS", p.G0KgPerS, 1e-5, 10, "kg/s"},
		{"BatchKg", p.BatchKg, 0.01, 1000, "kg"},
		{"MoistureDB", p.MoistureDB, 0, moistureMax, "kg/kg dry"},
		{"GasShare", p.GasShare, 0, 0.5, "of 1"},
		{"GasShareSd", p.GasShareSd, 0, 0.5, "of 1"},
		{"ProbeTauS", p.ProbeTauS, 1, 200, "s"},
		{"LnTau", p.LnTau, lnTauMin, lnTauMax, "(logarithm)"},
		{"LnHeat", p.LnHeat, -lnHeatMax, lnHeatMax, "(logarithm)"},
		{"Kinetics.DryingFactor", p.Kinetics.DryingFactor, 0, 10, "of 1"},
		{"Kinetics.ExothermFactor", p.Kinetics.ExothermFactor, 0, 10, "of 1"},
		{"Kinetics.DryLossFactor", p.Kinetics.DryLossFactor, 0, 10, "of 1"},
		{"Kinetics.DiameterMM", p.Kinetics.DiameterMM, 1, 20, "mm"},
		{"StepS", p.StepS, 0.01, 2, "s"},
		{"NoiseRK2", p.NoiseRK2, 1e-6, 100, "K²"},
	} {
		if !(c.v >= c.lo && c.v <= c.hi) { // also catches NaN
			errs = append(errs, fmt.Errorf("observe: %s is %g %s, allowed %g to %g: correct the machine or batch description",
				c.name, c.v, c.unit, c.lo, c.hi))
		}
	}
	return errors.Join(errs...)
}

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

	BatchKg      float64 // green weight, kg
	MoistureDB   float64 // green moisture, kg water per kg dry matter
	MoistureSdDB float64 // its sd: 0.0145 for a usual value, about 0.0025 for one measured of this lot

	GasShare  float64 // share of the probe's surroundings that is gas, 0 to below 0.5
	ProbeTauS float64 // nominal lag of the bean probe, s

	// LnTau and LnHeat are where to begin: the logarithms of probe lag over
	// ProbeTauS and of the heat multiplier, with how surely they are known.
	LnTau, LnTauSd   float64
	LnHeat, LnHeatSd float64

	// Doubt is how surely coffee and machine are known beforehand. The stated sds
	// rest on it, not the gains.
	Doubt Doubt

	Kinetics bean.Kinetics
	StepS    float64 // scan period, s
	NoiseRK2 float64 // least variance of one bean probe reading, K²; a batch whose readings show more takes that
}

// DefaultParams returns everything that does not belong to one machine or
// batch. The figures were chosen on simulated roasts; no literature authority.
func DefaultParams() Params {
	return Params{
		MoistureDB: bean.MoistureDryBasis(0.11), MoistureSdDB: 0.0145,
		LnTauSd: 0.30, LnHeatSd: 0.20,
		Doubt:     UsualDoubt(0.0145, 0.025),
		GasShare:  0.10,
		ProbeTauS: 30,
		Kinetics:  bean.DefaultKinetics(),
		StepS:     0.1,
		NoiseRK2:  0.025,
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
		{"MoistureSdDB", p.MoistureSdDB, 1e-5, moistureMax, "kg/kg dry"},
		{"GasShare", p.GasShare, 0, 0.5, "of 1"},
		{"ProbeTauS", p.ProbeTauS, 1, 200, "s"},
		{"LnTau", p.LnTau, lnTauMin, lnTauMax, "(logarithm)"},
		{"LnTauSd", p.LnTauSd, 1e-4, 1, "(logarithm)"},
		{"LnHeatSd", p.LnHeatSd, 1e-4, 1, "(logarithm)"},
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

package plant

import (
	"errors"
	"fmt"
	"math"

	"drumwright/control/bean"
)

// Params describes one machine and one coffee. It is a plain value: take a
// built-in set, change what differs, hand it to New.
type Params struct {
	// Batch and room.
	BatchKg      float64 // usual green batch, kg; the size the bed figures belong to
	MoistureWB   float64 // green moisture, kg water per kg green
	GreenGPerL   float64 // green bulk density, g/l
	AmbientC     float64 // room, green beans and intake air
	MainsV       float64 // supply now
	NominalV     float64 // supply the heater powers are rated at
	Kinetics     bean.Kinetics
	HeatTransfer float64 // multiplies both conductances of the bed

	// Air path. Conductances of bed and element go with flow to the power 0.6.
	AirKgPerS       float64 // flow at BlowerNominalHz
	BlowerNominalHz float64
	BlowerMaxHz     float64
	BlowerRampHzPS  float64 // Hz per s
	AirLagS         float64 // flow behind blower speed
	DraughtFrac     float64 // flow left with the blower at rest, share of AirKgPerS
	ProvingFrac     float64 // flow at which the proving switch closes, share of AirKgPerS
	AirHeaterMaxW   float64 // at NominalV
	ElementJPerK    float64
	ElementWPerK    float64 // element to air at AirKgPerS
	ElementRadM2    float64 // emissivity times area by which a hot element heats its casing
	DuctLossFrac    float64 // share of the element's heat that the duct loses
	DuctJPerK       float64 // gives the duct lag, DuctJPerK/(G cp)

	// Drum, skin and panels.
	DrumVolumeL     float64
	SkinJPerK       float64 // whole drum steel
	SkinOuterFrac   float64 // share that sees panel and room; the rest sees gas and beans
	SkinPatchFrac   float64 // share of the outer part that is over the panels at any moment
	SkinLinkWPerK   float64 // outer to inner
	SkinRoomWPerK   float64
	GasSkinWPerK    float64
	GasBedWPerK     float64 // at AirKgPerS
	SkinBedWPerK    float64
	RadiantMaxW     float64 // at NominalV
	PanelJPerK      float64
	PanelRadM2      float64 // effective emissivity times area, panel to drum
	PanelRoomWPerK  float64
	SpeedExponent   float64 // bed conductances go with (drum speed / nominal)^this
	DrumRPMPerHz    float64 // without slip
	DrumSlipFrac    float64
	DrumNominalHz   float64
	DrumMaxHz       float64
	DrumRampHzPS    float64
	DrumLagS        float64 // drum behind its drive
	DrumCoastS      float64 // drum after its drive cuts out
	DrumEmptyA      float64 // motor current with the empty drum
	DrumFullA       float64 // with BatchKg
	PulsesPerRev    int
	LimitTripC      float64 // independent limit on the skin opens above this, until reset by hand
	ElementTripC    float64 // so does the cut-out at the element, in series with it
	HeartbeatS      float64 // contactor opens when the heartbeat stands still this long; 0 disables
	GateOpenS       float64 // how long the operator holds the charge gate open
	DischargeOpenS  float64 // how long the discharge door stays open
	TrayWPerK       float64 // tray beans to air with fan and stirrer
	TrayStillFrac   float64 // share of it without fan
	TrayUnmixedFrac float64 // share of it without stirrer

	// Probes.
	BeanProbeS    float64 // lag in the bed
	BeanProbeAirS float64 // lag in gas
	GasShare      float64 // share of gas the covered bean probe sees
	CoverS        float64 // time constant of the bed closing over the probe
	FullCoverFrac float64 // bed volume, share of the usual green bed, that covers the probe
	InletProbeS   float64
	ExhaustProbeS float64
	SkinProbeS    float64
	ElementProbeS float64
	LimitProbeS   float64
	TrayProbeS    float64
	NoiseC        float64 // standard deviation
	StepC         float64 // quantisation
	FlowNoiseFrac float64 // standard deviation, share of AirKgPerS
}

// shared is what both built-in machines have in common. Unless said otherwise
// the figures are tuned or common practice, no source.
func shared() Params {
	return Params{
		MoistureWB: 0.11, GreenGPerL: 680, AmbientC: 25, MainsV: 230, NominalV: 230,
		Kinetics: bean.DefaultKinetics(), HeatTransfer: 1,

		BlowerNominalHz: 50, BlowerMaxHz: 70, BlowerRampHzPS: 10, AirLagS: 1,
		DraughtFrac: 0.005, ProvingFrac: 0.40, DuctLossFrac: 0.05,

		// Panels of 0.02 and 0.05 m2 under drum walls of 0.053 and 0.136 m2.
		SkinOuterFrac: 0.6, SkinPatchFrac: 0.38,

		DrumSlipFrac: 0.03, DrumNominalHz: 57, DrumMaxHz: 80, DrumRampHzPS: 10, DrumLagS: 0.3, DrumCoastS: 1.5,
		DrumEmptyA: 1.1, DrumFullA: 1.4, PulsesPerRev: 4, LimitTripC: 350, ElementTripC: 650, HeartbeatS: 1, GateOpenS: 3, DischargeOpenS: 15,
		TrayStillFrac: 0.06, TrayUnmixedFrac: 0.5,

		BeanProbeS: 30, BeanProbeAirS: 45, GasShare: 0.10, CoverS: 3, FullCoverFrac: 0.6,
		InletProbeS: 4, ExhaustProbeS: 25, SkinProbeS: 3, ElementProbeS: 3, LimitProbeS: 8, TrayProbeS: 10,
		NoiseC: 0.15, StepC: 0.1, FlowNoiseFrac: 0.005,
	}
}

// Quarter is a machine for 250 to 300 g. The heat figures were fitted to
// usual event times (turn 60-100 s, 150 °C at 4-5 min, first crack at 8-9 min,
// drop at 10-12 min), so hitting those is no proof of truth.
func Quarter() Params {
	p := shared()
	p.BatchKg = 0.25
	p.AirKgPerS, p.AirHeaterMaxW, p.ElementJPerK, p.ElementWPerK, p.ElementRadM2 = 0.0035, 1500, 40, 6, 2e-4
	p.DuctJPerK = 7.2
	p.DrumVolumeL, p.SkinJPerK, p.SkinLinkWPerK, p.SkinRoomWPerK = 1.73, 750, 8, 0.7
	p.GasSkinWPerK, p.GasBedWPerK, p.SkinBedWPerK = 1.0, 1.88, 0.77
	p.RadiantMaxW, p.PanelJPerK, p.PanelRadM2, p.PanelRoomWPerK = 520, 350, 0.7*0.02, 0.25
	p.DrumRPMPerHz = 0.998
	p.TrayWPerK = 9
	return p
}

// Kilo is a machine for 1 kg; see Quarter for what the figures
// are worth.
func Kilo() Params {
	p := shared()
	p.BatchKg = 1.0
	p.AirKgPerS, p.AirHeaterMaxW, p.ElementJPerK, p.ElementWPerK, p.ElementRadM2 = 0.011, 4000, 160, 20, 5e-4
	p.DuctJPerK = 22.6
	p.DrumVolumeL, p.SkinJPerK, p.SkinLinkWPerK, p.SkinRoomWPerK = 7.33, 2000, 20, 1.6
	p.GasSkinWPerK, p.GasBedWPerK, p.SkinBedWPerK = 2.5, 11.8, 1.51
	p.RadiantMaxW, p.PanelJPerK, p.PanelRadM2, p.PanelRoomWPerK = 1300, 900, 0.7*0.05, 0.5
	p.DrumRPMPerHz = 0.600
	p.TrayWPerK = 36
	return p
}

// Validate names every figure that would make the model divide by zero or run
// backwards.
func (p *Params) Validate() error {
	var errs []error
	for _, f := range []struct {
		name string
		v    float64
	}{
		{"BatchKg", p.BatchKg}, {"GreenGPerL", p.GreenGPerL},
		{"MainsV", p.MainsV}, {"NominalV", p.NominalV}, {"HeatTransfer", p.HeatTransfer},
		{"Kinetics.DiameterMM", p.Kinetics.DiameterMM},
		{"AirKgPerS", p.AirKgPerS}, {"BlowerNominalHz", p.BlowerNominalHz}, {"BlowerMaxHz", p.BlowerMaxHz},
		{"BlowerRampHzPS", p.BlowerRampHzPS}, {"AirLagS", p.AirLagS}, {"DraughtFrac", p.DraughtFrac},
		{"AirHeaterMaxW", p.AirHeaterMaxW}, {"ElementJPerK", p.ElementJPerK}, {"ElementWPerK", p.ElementWPerK},
		{"DuctJPerK", p.DuctJPerK}, {"DrumVolumeL", p.DrumVolumeL}, {"SkinJPerK", p.SkinJPerK},
		{"GasSkinWPerK", p.GasSkinWPerK}, {"GasBedWPerK", p.GasBedWPerK}, {"RadiantMaxW", p.RadiantMaxW},
		{"PanelJPerK", p.PanelJPerK}, {"DrumRPMPerHz", p.DrumRPMPerHz}, {"DrumNominalHz", p.DrumNominalHz},
		{"DrumEmptyA", p.DrumEmptyA}, {"DrumFullA", p.DrumFullA}, {"DrumMaxHz", p.DrumMaxHz}, {"DrumRampHzPS", p.DrumRampHzPS}, {"DrumLagS", p.DrumLagS}, {"DrumCoastS", p.DrumCoastS},
		{"BeanProbeS", p.BeanProbeS}, {"BeanProbeAirS", p.BeanProbeAirS}, {"CoverS", p.CoverS}, {"FullCoverFrac", p.FullCoverFrac},
		{"InletProbeS", p.InletProbeS}, {"ExhaustProbeS", p.ExhaustProbeS}, {"SkinProbeS", p.SkinProbeS},
		{"ElementProbeS", p.ElementProbeS}, {"LimitProbeS", p.LimitProbeS}, {"TrayProbeS", p.TrayProbeS},
		{"LimitTripC", p.LimitTripC}, {"ElementTripC", p.ElementTripC},
	} {
		if !(f.v > 0) || math.IsInf(f.v, 1) {
			errs = append(errs, fmt.Errorf("plant parameter %s is %g, must be finite and above 0; start from Quarter or Kilo", f.name, f.v))
		}
	}
	for _, f := range []struct {
		name   string
		v, max float64
	}{
		{"MoistureWB", p.MoistureWB, 0.5}, {"GasShare", p.GasShare, 0.9}, {"DuctLossFrac", p.DuctLossFrac, 0.9},
		{"DrumSlipFrac", p.DrumSlipFrac, 0.9}, {"ProvingFrac", p.ProvingFrac, 1},
		{"TrayStillFrac", p.TrayStillFrac, 1}, {"TrayUnmixedFrac", p.TrayUnmixedFrac, 1},
		{"SpeedExponent", p.SpeedExponent, 2}, {"StepC", p.StepC, 10}, {"NoiseC", p.NoiseC, 10}, {"FlowNoiseFrac", p.FlowNoiseFrac, 1},
		{"HeartbeatS", p.HeartbeatS, 3600}, {"GateOpenS", p.GateOpenS, 3600}, {"DischargeOpenS", p.DischargeOpenS, 3600},
		{"ElementRadM2", p.ElementRadM2, 10}, {"PanelRadM2", p.PanelRadM2, 10}, {"TrayWPerK", p.TrayWPerK, 1e4},
		{"SkinLinkWPerK", p.SkinLinkWPerK, 1e3}, {"SkinRoomWPerK", p.SkinRoomWPerK, 1e3},
		{"SkinBedWPerK", p.SkinBedWPerK, 1e3}, {"PanelRoomWPerK", p.PanelRoomWPerK, 1e3},
		{"Kinetics.DryingFactor", p.Kinetics.DryingFactor, 100}, {"Kinetics.ExothermFactor", p.Kinetics.ExothermFactor, 100},
		{"Kinetics.DryLossFactor", p.Kinetics.DryLossFactor, 100},
	} {
		if !(f.v >= 0 && f.v <= f.max) {
			errs = append(errs, fmt.Errorf("plant parameter %s is %g, must be from 0 to %g", f.name, f.v, f.max))
		}
	}
	for _, f := range []struct {
		name string
		v    float64
	}{{"SkinOuterFrac", p.SkinOuterFrac}, {"SkinPatchFrac", p.SkinPatchFrac}} {
		if !(f.v > 0 && f.v < 1) {
			errs = append(errs, fmt.Errorf("plant parameter %s is %g, must be between 0 and 1", f.name, f.v))
		}
	}
	if !(p.AmbientC >= -40 && p.AmbientC <= 60) {
		errs = append(errs, fmt.Errorf("plant parameter AmbientC is %g °C, must be from -40 to 60", p.AmbientC))
	}
	if p.PulsesPerRev < 1 {
		errs = append(errs, fmt.Errorf("plant parameter PulsesPerRev is %d, must be at least 1", p.PulsesPerRev))
	}
	return errors.Join(errs...)
}

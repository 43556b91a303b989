package registers

import (
	"math"
	"math/rand/v2"

	"drumwright/control/plant"
	"drumwright/io/point"
	"drumwright/profiles"
)

// ParamsFor makes the simulated machine that a machine file describes, as if
// every figure in it were true. What the file does not tell comes from the
// built-in machine of the nearer size.
func ParamsFor(m *profiles.Machine) plant.Params {
	p := plant.Kilo()
	if m.Bed.NominalBatch < 0.5 {
		p = plant.Quarter()
	}
	p.BatchKg = float64(m.Bed.NominalBatch)
	p.AirKgPerS = float64(m.Air.Nominal) / 3600
	p.BlowerNominalHz = m.BlowerHz(float64(m.Air.Nominal))
	p.BlowerMaxHz = float64(m.Air.MaxHz)
	p.AirHeaterMaxW = float64(m.Heaters.Air.PowerW)
	p.ElementJPerK, p.ElementWPerK = float64(m.Heaters.Air.ElementJPK), float64(m.Heaters.Air.ElementWPK)
	p.DuctLossFrac = 1 - float64(m.Heaters.Air.Efficiency)
	p.DrumVolumeL = math.Pi * math.Pow(float64(m.Drum.RadiusM), 2) * float64(m.Drum.LengthM) * 1000
	p.SkinJPerK, p.SkinRoomWPerK = float64(m.Bed.DrumHeat), float64(m.Bed.DrumLoss)
	p.GasSkinWPerK, p.GasBedWPerK, p.SkinBedWPerK = float64(m.Bed.GasToDrum), float64(m.Bed.GasToBeans), float64(m.Bed.DrumToBeans)
	r := m.Heaters.Radiant
	p.RadiantMaxW, p.PanelJPerK, p.PanelRoomWPerK = float64(r.PowerW), float64(r.PanelJPK), float64(r.PanelWPK)
	p.PanelRadM2 = r.AreaM2 * r.Emissivity
	rpmPerHz := m.SkinMMPerSPerHz() * 60 / (2 * math.Pi * 1000 * float64(m.Drum.RadiusM))
	p.DrumRPMPerHz = rpmPerHz / (1 - p.DrumSlipFrac)
	p.DrumMaxHz, p.DrumRampHzPS = float64(m.Drum.MaxHz), m.Drum.RampHzPerS
	p.DrumNominalHz = float64(m.Drum.IdleSpeed) / m.SkinMMPerSPerHz()
	if m.Drum.EmptyA > 0 {
		p.DrumEmptyA, p.DrumFullA = float64(m.Drum.EmptyA), math.Max(float64(m.Drum.EmptyA), float64(m.Drum.FullA))
	}
	p.PulsesPerRev = max(1, m.Drum.PulsesPerRev)
	p.BeanProbeS, p.GasShare = float64(m.Bed.ProbeLagS), float64(m.Bed.GasShare)
	p.BeanProbeAirS = 1.5 * p.BeanProbeS
	p.InletProbeS = float64(m.Heaters.Air.ProbeLagS)
	if !m.HasOut[point.Heartbeat] {
		p.HeartbeatS = 0
	} else {
		p.HeartbeatS = math.Max(p.HeartbeatS, 3*float64(m.Out[point.Heartbeat].RefreshScans)*float64(m.Scan.PeriodS))
	}
	return p
}

// Drawn is a mismatch between machine file and machine as shops have it, drawn
// from a seed: what the controller was told is never quite so. The spans are
// common practice, no source.
func Drawn(seed uint64) plant.Mismatch {
	r := rand.New(rand.NewPCG(seed, 0x6d69736d))
	span := func(s float64) float64 { return s * (2*r.Float64() - 1) }
	return plant.Mismatch{
		MassFrac: 0, HeatTransferFrac: span(0.06), ExothermFrac: span(0.20), DryingFrac: span(0.10), DryLossFrac: span(0.10),
		ProbeLagFrac: span(0.15), GasShareAdd: span(0.015), MoistureWBAdd: span(0.003), MainsFrac: span(0.02),
		AmbientAddK: span(5), SkinHeatCapFrac: span(0.10),
	}
}

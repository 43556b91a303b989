package probe

import (
	"math"
	"strings"
	"testing"

	"drumwright/control/observe"
	"drumwright/control/plant"
	"drumwright/control/plant/registers"
	"drumwright/profiles"
)

// charge plays one charge on the simulated machine and gives what its devices
// read, once a second, and the room.
func charge(t testing.TB, p plant.Params, kg float64, seed uint64) ([]Sample, float64) {
	t.Helper()
	m, err := plant.New(p, seed)
	if err != nil {
		t.Fatal(err)
	}
	cmd := plant.Commands{DrumRun: true, DrumHz: 60, BlowerRun: true, BlowerHz: 48, AirHeaterDuty: 0.45, RadiantDuty: 0.25, HeatEnable: true}
	m.WarmStart(plant.Warm{SkinC: 200, InletC: 220, ExhaustC: 190, RadiantW: 250, Running: true})
	step := func(s float64) {
		for i := range int(s*10 + 0.5) {
			cmd.Heartbeat += uint16((i + 1) % 2)
			m.SetCommands(cmd)
			m.Step(0.1)
		}
	}
	step(60)
	room := m.Readings().AmbientProbe.C
	if err := m.Charge(kg, 0.11); err != nil {
		t.Fatal(err)
	}
	var out []Sample
	for s := 1.0; s <= 250; s++ {
		step(1)
		r := m.Readings()
		out = append(out, Sample{s, r.BeanProbe.C, r.InletProbe.C, r.SkinProbe.C, r.AirFlowKgPerH / 3600})
	}
	return out, room
}

func machine(t testing.TB, name string) (*profiles.Machine, observe.Params) {
	t.Helper()
	data, _ := profiles.Example("machines/" + name + ".yaml")
	m, err := profiles.ParseMachine(name, data)
	if err != nil {
		t.Fatal(err)
	}
	p := observe.DefaultParams()
	p.HAGbWPerK, p.HADbWPerK, p.HAGdWPerK = float64(m.Bed.GasToBeans), float64(m.Bed.DrumToBeans), float64(m.Bed.GasToDrum)
	p.G0KgPerS, p.BatchKg, p.GasShare, p.ProbeTauS = float64(m.Air.Nominal)/3600, float64(m.Bed.NominalBatch), float64(m.Bed.GasShare), float64(m.Bed.ProbeLagS)
	return m, p
}

// The lag comes out of one charge within 10 percent, whatever the machine file
// says of it, also on machines whose heat exchange is not as told.
func TestIdentify(t *testing.T) {
	for _, c := range []struct {
		name        string
		lagS, share float64
		off         plant.Mismatch
	}{
		{"heron-1000", 30, 0.10, plant.Mismatch{}},
		{"heron-1000", 12, 0.10, plant.Mismatch{}},
		{"heron-1000", 45, 0.05, plant.Mismatch{}},
		{"heron-1000", 20, 0.15, plant.Mismatch{HeatTransferFrac: 0.2, DryingFrac: 0.2, AmbientAddK: 5}},
		{"heron-1000", 20, 0.05, plant.Mismatch{HeatTransferFrac: -0.2, DryingFrac: -0.2, MoistureWBAdd: 0.01, SkinHeatCapFrac: 0.2}},
		{"lark-300", 18, 0.10, plant.Mismatch{}},
		{"lark-300", 18, 0.12, registers.Drawn(5)},
	} {
		m, p := machine(t, c.name)
		q := registers.ParamsFor(m)
		q.BeanProbeS, q.BeanProbeAirS, q.GasShare = c.lagS, 1.5*c.lagS, c.share
		c.off.ProbeLagFrac, c.off.GasShareAdd = 0, 0
		q = q.With(c.off)
		for seed := range uint64(1) {
			s, room := charge(t, q, p.BatchKg, seed)
			r, err := Identify(p, s, room)
			if err != nil {
				t.Errorf("%s, lag %g s: %v", c.name, c.lagS, err)
				continue
			}
			if math.Abs(r.BedShare.Value-1+c.share) > r.BedShare.Uncertainty || math.Abs(r.LagS.Value-c.lagS) > r.LagS.Uncertainty || r.BedShare.Uncertainty > 0.05 {
				t.Errorf("%s: lag %+v of %g s, bed share %+v of %g", c.name, r.LagS, c.lagS, r.BedShare, 1-c.share)
			}
			if off := math.Abs(r.LagS.Value/c.lagS - 1); off > 0.10 {
				t.Errorf("%s, lag %g s: found %.2f s", c.name, c.lagS, r.LagS.Value)
			}
		}
	}
}

func TestIdentifyRefuses(t *testing.T) {
	m, p := machine(t, "heron-1000")
	good, room := charge(t, registers.ParamsFor(m), p.BatchKg, 1)
	edit := func(f func([]Sample) []Sample) []Sample { return f(append([]Sample(nil), good...)) }
	for want, s := range map[string][]Sample{
		"samples":           good[:30],
		"is missing at":     edit(func(s []Sample) []Sample { s[50].ProbeC = math.NaN(); return s }),
		"no sample between": edit(func(s []Sample) []Sample { return append(s[:60], s[90:]...) }),
		"not later":         edit(func(s []Sample) []Sample { s[9].SinceChargeS = 2; return s }),
		"warm drum": edit(func(s []Sample) []Sample {
			for i := range s {
				s[i].ProbeC = 30
			}
			return s
		}),
		"no lag fits": edit(func(s []Sample) []Sample {
			for i := range s {
				s[i].ProbeC = 200
			}
			return s
		}),
	} {
		if r, err := Identify(p, s, room); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q: %+v, %v", want, r, err)
		}
	}
}

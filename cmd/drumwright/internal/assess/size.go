package assess

import (
	"fmt"

	"drumwright/profiles"
)

// Size is one machine to be assessed, with the batch it is charged with.
type Size struct {
	Name    string
	Machine *profiles.Machine
	Charge  profiles.Charge
	Skin    [3]profiles.Celsius // drum skin at 30 s, at 140 °C and at 5 % loss
}

// Of is the size that a machine file describes, charged with its nominal batch.
// The charge temperatures suit roasts of 9 to 12 min (judgement).
func Of(m *profiles.Machine) Size {
	return Size{Name: m.About.Name, Machine: m,
		Charge: profiles.Charge{Green: m.Bed.NominalBatch, Air: 203, Skin: 220}, Skin: [3]profiles.Celsius{230, 245, 260}}
}

// Standard are the two shipped machines: the large one as it is, the small one
// with the figures of a drum for 250 g.
func Standard() ([]Size, error) {
	large, err := shipped("heron-1000")
	if err != nil {
		return nil, err
	}
	small, err := shipped("lark-300")
	if err != nil {
		return nil, err
	}
	quarter(small)
	return []Size{Of(small), Of(large)}, nil
}

func shipped(name string) (*profiles.Machine, error) {
	data, ok := profiles.Example("machines/" + name + ".yaml")
	if !ok {
		return nil, fmt.Errorf("no machine %s is shipped with this program", name)
	}
	return profiles.ParseMachine(name+".yaml", data)
}

// quarter gives a machine the figures of the drum for 250 g for which the bean
// loop was studied.
func quarter(m *profiles.Machine) {
	m.About.Name = "lark-250"
	m.Drum.RadiusM, m.Drum.LengthM = 0.065, 0.130
	m.Air.Nominal, m.Air.WarmFlow, m.Air.CoolFlow = 12.6, 12.6, 12.6
	m.Air.MinForHeat = 3.2
	a := &m.Heaters.Air
	a.PowerW, a.ElementJPK, a.ElementWPK = 1500, 40, 6
	r := &m.Heaters.Radiant
	r.PowerW, r.PanelJPK, r.PanelWPK, r.AreaM2 = 520, 350, 0.25, 0.02
	b := &m.Bed
	b.GasToBeans, b.DrumToBeans, b.GasToDrum, b.DrumHeat, b.DrumLoss = 1.88, 0.77, 1.0, 750, 0.7
	b.NominalBatch, b.MinBatch, b.MaxBatch = 0.25, 0.1, 0.3125
	m.Loops.Air.MaxSet = 340
}

// recipe leads the machine along the curve. Green moisture is left out, so that
// the controller takes the usual one, less surely.
func (s *Size) recipe(c *Curve) *profiles.Recipe {
	stage := func(kind profiles.TriggerKind, at float64, skin profiles.Celsius) profiles.Stage {
		return profiles.Stage{When: profiles.Trigger{Kind: kind, Value: at}, Skin: &skin}
	}
	return &profiles.Recipe{
		Name: "curve-" + c.Name, Charge: s.Charge, Curve: c.points(),
		Stages: []profiles.Stage{stage(profiles.AtTime, 30, s.Skin[0]), stage(profiles.AtBean, 140, s.Skin[1]), stage(profiles.AtLoss, 0.05, s.Skin[2])},
		Drop:   profiles.Drop{Operator: true, LatestS: 1800},
	}
}

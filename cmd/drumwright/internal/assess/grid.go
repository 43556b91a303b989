package assess

import (
	"fmt"
	"math/rand/v2"
	"regexp"
	"slices"

	"drumwright/control/plant"
)

// single is one thing that is not as the controller was told.
type single struct {
	name string
	off  Deviation
}

// singles are the mismatches taken one at a time.
var singles = []single{
	{"mass -20 %", Deviation{Mismatch: plant.Mismatch{MassFrac: -0.20}}},
	{"mass +20 %", Deviation{Mismatch: plant.Mismatch{MassFrac: 0.20}}},
	{"heat transfer -20 %", Deviation{Mismatch: plant.Mismatch{HeatTransferFrac: -0.20}}},
	{"heat transfer +20 %", Deviation{Mismatch: plant.Mismatch{HeatTransferFrac: 0.20}}},
	{"air flow -10 %", Deviation{FlowFrac: -0.10}},
	{"air flow +10 %", Deviation{FlowFrac: 0.10}},
	{"drum heat -50 %", Deviation{DrumHeatFrac: -0.50}},
	{"drum heat +50 %", Deviation{DrumHeatFrac: 0.50}},
	{"reaction heat -50 %", Deviation{Mismatch: plant.Mismatch{ExothermFrac: -0.50}}},
	{"reaction heat +100 %", Deviation{Mismatch: plant.Mismatch{ExothermFrac: 1}}},
	{"drying -20 %", Deviation{Mismatch: plant.Mismatch{DryingFrac: -0.20}}},
	{"drying +20 %", Deviation{Mismatch: plant.Mismatch{DryingFrac: 0.20}}},
	{"dry loss -20 %", Deviation{Mismatch: plant.Mismatch{DryLossFrac: -0.20}}},
	{"dry loss +20 %", Deviation{Mismatch: plant.Mismatch{DryLossFrac: 0.20}}},
	{"mains -10 %", Deviation{Mismatch: plant.Mismatch{MainsFrac: -0.10}}},
	{"mains +6 %", Deviation{Mismatch: plant.Mismatch{MainsFrac: 0.06}}},
	{"room 5 °C", Deviation{Mismatch: plant.Mismatch{AmbientAddK: -20}}},
	{"room 35 °C", Deviation{Mismatch: plant.Mismatch{AmbientAddK: 10}}},
	{"moisture 9 %", Deviation{Mismatch: plant.Mismatch{MoistureWBAdd: -0.02}}},
	{"moisture 13 %", Deviation{Mismatch: plant.Mismatch{MoistureWBAdd: 0.02}}},
	{"probe lag -40 %", Deviation{Mismatch: plant.Mismatch{ProbeLagFrac: -0.40}}},
	{"probe lag +40 %", Deviation{Mismatch: plant.Mismatch{ProbeLagFrac: 0.40}}},
	{"gas share 0.06", Deviation{Mismatch: plant.Mismatch{GasShareAdd: -0.04}}},
	{"gas share 0.14", Deviation{Mismatch: plant.Mismatch{GasShareAdd: 0.04}}},
}

// structures are machines of another form than the controller's model.
var structures = []single{
	{"speed exponent 0.3", Deviation{SpeedExponent: 0.3}},
	{"bed bumps 0.5 °C", Deviation{BumpC: 0.5}},
	{"noise 0.3 °C", Deviation{NoiseC: 0.3}},
	{"bumps and mix", Deviation{BumpC: 0.5, SpeedExponent: 0.3, Mismatch: plant.Mismatch{
		HeatTransferFrac: -0.20, ProbeLagFrac: 0.30, DryingFrac: -0.22, GasShareAdd: -0.03}}},
}

// corners are all mixes of the extremes of six things.
func corners() []single {
	var all []single
	for mask := range 1 << 6 {
		pick := func(bit int, lo, hi float64) float64 {
			if mask>>bit&1 == 1 {
				return hi
			}
			return lo
		}
		d := Deviation{Mismatch: plant.Mismatch{
			MassFrac: pick(0, -0.20, 0.20), HeatTransferFrac: pick(1, -0.20, 0.20), MainsFrac: pick(2, -0.10, 0.06),
			AmbientAddK: pick(3, -20, 10), MoistureWBAdd: pick(4, -0.02, 0.02), ProbeLagFrac: pick(5, -0.40, 0.40),
		}}
		all = append(all, single{fmt.Sprintf("mass %+.0f heat %+.0f mains %+.0f room %.0f water %.0f lag %+.0f", 100*d.MassFrac, 100*d.HeatTransferFrac,
			100*d.MainsFrac, 25+d.AmbientAddK, 11+100*d.MoistureWBAdd, 100*d.ProbeLagFrac), d})
	}
	return all
}

// drawn is a mix of everything at once, from a seed.
func drawn(seed uint64) Deviation {
	r := rand.New(rand.NewPCG(seed, 0x636173657331))
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	return Deviation{
		Mismatch: plant.Mismatch{
			MassFrac: between(-0.20, 0.20), HeatTransferFrac: between(-0.20, 0.20), ExothermFrac: between(-0.40, 0.50),
			DryingFrac: between(-0.20, 0.20), DryLossFrac: between(-0.20, 0.20), ProbeLagFrac: between(-0.40, 0.40),
			GasShareAdd: between(-0.04, 0.04), MoistureWBAdd: between(-0.02, 0.02), MainsFrac: between(-0.10, 0.06),
			AmbientAddK: between(-20, 10), SkinHeatCapFrac: between(-0.15, 0.15),
		},
		InletProbeS: between(3, 5), SkinAtChargeK: between(-4, 4),
	}
}

// randomCases is the number of drawn cases a size; their seeds are 1 to this.
const randomCases = 60

// Grid lists the batches: all of them, or with quick the nominal one and the
// single mismatches on the first curve. A drawn case takes the curves in turn.
func Grid(sizes []Size, quick bool) []Cell {
	var cells []Cell
	for _, s := range sizes {
		for i := range curves {
			if quick && i > 0 {
				break
			}
			add := func(g Group, name string, seed uint64, d Deviation) {
				cells = append(cells, Cell{Size: s, Curve: &curves[i], Group: g, Name: name, Seed: seed, Off: d})
			}
			each := func(g Group, list []single) {
				for _, x := range list {
					add(g, x.name, 1, x.off)
				}
			}
			add(Nominal, "nominal", 1, Deviation{})
			each(Single, singles)
			if quick {
				continue
			}
			each(Corner, corners())
			each(Structure, structures)
			for seed := uint64(1); seed <= randomCases; seed++ {
				if int(seed-1)%len(curves) == i {
					add(Random, fmt.Sprintf("seed %d", seed), seed, drawn(seed))
				}
			}
		}
	}
	return cells
}

// Only keeps the cells whose size, curve, group and name, joined by blanks, match.
func Only(cells []Cell, match *regexp.Regexp) []Cell {
	return slices.DeleteFunc(cells, func(c Cell) bool {
		return !match.MatchString(c.Size.Name + " " + c.Curve.Name + " " + string(c.Group) + " " + c.Name)
	})
}

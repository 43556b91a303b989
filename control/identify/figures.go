package identify

import "math"

// Figure is one figure of a machine file that can be fitted.
type Figure int

// The figures, in the order of the file.
const (
	Efficiency Figure = iota
	ElementHeat
	PanelHeat
	GasToBeans
	DrumToBeans
	GasToDrum
	DrumHeat
	DrumLoss
	ProbeLag
	GasShare
	NumFigures
)

// figures says what each is. Sd is how far a file's figure may be off, one
// standard deviation before any data: a share of it, or for shares of 1 as it
// stands (judgement).
var figures = [NumFigures]struct {
	name, key, unit string
	sd              float64
	share           bool // a share of 1: counted as it stands, not by its logarithm
}{
	Efficiency:  {"air heater efficiency", "heaters.air.efficiency", "%", 0.08, true},
	ElementHeat: {"heat of its element", "heaters.air.element_heat", "J/K", 0.4, false},
	PanelHeat:   {"heat of the panels", "heaters.radiant.panel_heat", "J/K", 0.3, false},
	GasToBeans:  {"air to beans", "bed.gas_to_beans", "W/K", 0.3, false},
	DrumToBeans: {"drum to beans", "bed.drum_to_beans", "W/K", 0.4, false},
	GasToDrum:   {"air to drum", "bed.gas_to_drum", "W/K", 0.4, false},
	DrumHeat:    {"heat of the drum", "bed.drum_heat", "J/K", 0.4, false},
	DrumLoss:    {"loss of the drum", "bed.drum_loss", "W/K", 0.5, false},
	ProbeLag:    {"lag of the bean probe", "bed.probe_lag", "s", 0.4, false},
	GasShare:    {"air felt by the bean probe", "bed.gas_share", "%", 0.04, true},
}

// Name is the figure in a few words.
func (f Figure) Name() string { return figures[f].name }

// Key is where it stands in a machine file.
func (f Figure) Key() string { return figures[f].key }

// Unit is its unit in a machine file; shares count in %.
func (f Figure) Unit() string { return figures[f].unit }

// Share reports whether it is a share of 1.
func (f Figure) Share() bool { return figures[f].share }

// Figures are values of all of them, in SI units; shares of 1.
type Figures [NumFigures]float64

// decode makes figures from the parameters of a fit: logarithms of the ratio to
// the file's figure, differences for shares.
func decode(file *Figures, x []float64) Figures {
	var v Figures
	for f := range NumFigures {
		if figures[f].share {
			v[f] = file[f] + x[f]
		} else {
			v[f] = file[f] * math.Exp(x[f])
		}
	}
	return v
}

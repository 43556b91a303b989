package learn

import (
	"math"
	"slices"

	"drumwright/control/observe"
)

// Lessons is all that the controller takes from earlier batches of a recipe.
// The zero value is a machine that has learned nothing.
type Lessons struct {
	Recipe  string // name of the recipe they are for
	Path    Path
	Coffee  Coffee
	Machine Machine
}

// Path is what batches of one recipe on one machine have taught about keeping
// to its curve. Rates are in K/s on a grid of GridS from charge on.
type Path struct {
	Curve       string     `json:"curve"`          // mark of the curve that Rate belongs to
	RateKPerS   []float64  `json:"rate_k_per_s"`   // added to the wanted rate of the bean loop
	BeforeKPerS []float64  `json:"before_k_per_s"` // the same before the last batch taught something
	GreenKg     float64    `json:"green_kg"`       // of the batches learned from
	RoomC       float64    `json:"room_c"`         // likewise
	LnHeat      float64    `json:"ln_heat"`        // mean logarithm of the heat multiplier
	SkinLeadK   [2]float64 `json:"skin_lead_k"`    // drum skin set point before charge, over the recipe's; by First
	Batches     int        `json:"batches"`        // learned from
	Kept        []Kept     `json:"kept"`           // of the last batches, newest last
}

// Kept is how well one batch kept to its curve.
type Kept struct {
	Batch    uint64  `json:"batch"`
	RmsC     float64 `json:"rms_c"`
	WithoutC float64 `json:"without_c"` // the rms that it would have had without its lessons, reckoned
	TookBack bool    `json:"took_back"` // lessons that had made it worse were taken back
}

// Coffee is what batches of one coffee have taught, by weighing and by ear.
type Coffee struct {
	Weighed     int           `json:"weighed"`      // batches
	LnDryLoss   float64       `json:"ln_dry_loss"`  // on the rate of dry-matter loss
	LnDrying    float64       `json:"ln_drying"`    // on the drying rate
	MoistureAdd float64       `json:"moisture_add"` // to the moisture told, kg per kg dry
	Cov         observe.Doubt `json:"cov"`          // how surely, once weighed
	CrackC      []float64     `json:"crack_c"`      // estimated bean temperature at first crack, last batches, newest last
	CrackLateS  []float64     `json:"crack_late_s"` // by how much it was foreseen too late a minute before
}

// Machine is what any batch has taught about the machine.
type Machine struct {
	Batches int     `json:"batches"`
	LnTau   float64 `json:"ln_tau"` // mean logarithm of the bean probe's lag over that of the machine file
}

// GridS is the spacing of a learned rate, s.
const GridS = 10.0

// Bounds of what can be learned.
const (
	rateMaxKPerS   = 0.06
	lnHeatMax      = 0.5
	lnTauMin       = -0.6
	lnTauMax       = 0.5
	skinLeadMaxK   = 10.0
	lnKineticsMax  = 0.5
	moistureAddMax = 0.035
	keptBatches    = 10
)

// at is the learned rate at a time since charge, K/s.
func at(rate []float64, tS float64) float64 {
	x := tS / GridS
	i := int(x)
	if !(x >= 0) || i >= len(rate)-1 {
		return 0
	}
	share := x - float64(i)
	return (1-share)*rate[i] + share*rate[i+1]
}

// RateKPerS is the learned addition to the wanted rate at a time since charge.
func (l *Lessons) RateKPerS(tS float64) float64 {
	if l == nil {
		return 0
	}
	return at(l.Path.RateKPerS, tS)
}

// Share is how much of a learned rate is trusted for a batch of greenKg in a
// room of roomC (NaN = not known) before anything is seen of it: all where the
// batches learned from were alike, nothing where they were far away. The spans
// are judgement.
func (p *Path) Share(greenKg, roomC float64) float64 {
	if len(p.RateKPerS) == 0 || !(p.GreenKg > 0) || !(greenKg > 0) {
		return 0
	}
	share := 1 - math.Abs(math.Log(greenKg/p.GreenKg))/massSpan
	if room := math.Abs(roomC - p.RoomC); room > 0 {
		share *= math.Max(0, 1-room/roomSpanK)
	}
	return math.Max(0, share)
}

const (
	massSpan  = 0.25
	roomSpanK = 40.0
)

// For are the lessons as they hold for a curve: another curve takes no rate.
func (p Path) For(curve string) Path {
	if p.Curve != curve {
		p.RateKPerS, p.BeforeKPerS, p.Kept = nil, nil, nil
		p.Curve = curve
	}
	return p
}

// bounded makes values that are out of bounds, also by a damaged store, harmless.
func (l *Lessons) bounded() {
	l.Path.RateKPerS = boundedRate(l.Path.RateKPerS)
	l.Path.BeforeKPerS = boundedRate(l.Path.BeforeKPerS)
	l.Path.LnHeat = within(l.Path.LnHeat, -lnHeatMax, lnHeatMax)
	for i := range l.Path.SkinLeadK {
		l.Path.SkinLeadK[i] = within(l.Path.SkinLeadK[i], -skinLeadMaxK, skinLeadMaxK)
	}
	l.Machine.LnTau = within(l.Machine.LnTau, lnTauMin, lnTauMax)
	l.Coffee.bounded()
}

func (c *Coffee) bounded() {
	c.LnDryLoss = within(c.LnDryLoss, -lnKineticsMax, lnKineticsMax)
	c.LnDrying = within(c.LnDrying, -lnKineticsMax, lnKineticsMax)
	c.MoistureAdd = within(c.MoistureAdd, -moistureAddMax, moistureAddMax)
}

func boundedRate(r []float64) []float64 {
	r = slices.Clone(r[:min(len(r), maxKnots)])
	for i := range r {
		r[i] = within(r[i], -rateMaxKPerS, rateMaxKPerS)
	}
	return r
}

// within clamps; NaN becomes 0.
func within(v, lo, hi float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return math.Max(lo, math.Min(hi, v))
}

func last[T any](s []T, n int) []T { return s[max(0, len(s)-n):] }

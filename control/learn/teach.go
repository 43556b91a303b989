package learn

import "math"

const (
	// worseC is by how much a batch may be worse than it is reckoned to have been
	// without its lessons before they are taken back.
	worseC = 0.05
	// Means of a machine take the first batch whole, then this share of the
	// difference; the lead of the skin takes that share of what was missing.
	meanGain = 0.7
	leadGain = 0.5
)

// Path after a batch. A batch that is none to learn from changes nothing.
func (p Path) After(c *Course, d Dynamics, skinAskedC float64) Path {
	if c.Disturbed != "" || c.TurnS == 0 {
		return p
	}
	if !math.IsNaN(c.LnTau) {
		d.ProbeTauS *= math.Exp(c.LnTau)
	}
	withC, withoutC := c.Rms()
	kept := Kept{Batch: c.Batch, RmsC: withC, WithoutC: withoutC, TookBack: withC > withoutC+worseC}
	if kept.TookBack {
		p.RateKPerS, p.BeforeKPerS = p.BeforeKPerS, nil
	} else if rate := newRate(c, &d); rate != nil {
		p.RateKPerS, p.BeforeKPerS = rate, p.RateKPerS
		p.GreenKg, p.RoomC = c.GreenKg, c.RoomC
		if math.IsNaN(c.RoomC) {
			p.RoomC = 25
		}
	}
	if !math.IsNaN(c.LnHeat) {
		p.LnHeat = within(mean(p.LnHeat, c.LnHeat, p.Batches), -lnHeatMax, lnHeatMax)
	}
	if which := whichLead(c.First); !math.IsNaN(c.SkinAtC) {
		p.SkinLeadK[which] = within(p.SkinLeadK[which]+leadGain*(skinAskedC-c.SkinAtC), -skinLeadMaxK, skinLeadMaxK)
	}
	p.Batches++
	p.Kept = append(append([]Kept(nil), last(p.Kept, keptBatches-1)...), kept)
	return p
}

// After is the machine's lessons after a batch.
func (m Machine) After(c *Course) Machine {
	if c.Disturbed != "" || math.IsNaN(c.LnTau) {
		return m
	}
	m.LnTau = within(mean(m.LnTau, c.LnTau, m.Batches), lnTauMin, lnTauMax)
	m.Batches++
	return m
}

// LeadK is what to add to the drum skin's set point before charge, for the first
// batch of a cold machine or a following one.
func (p *Path) LeadK(first bool) float64 { return p.SkinLeadK[whichLead(first)] }

func whichLead(first bool) int {
	if first {
		return 0
	}
	return 1
}

func mean(old, seen float64, batches int) float64 {
	if batches == 0 {
		return seen
	}
	return old + meanGain*(seen-old)
}

// Probe is where the probe's lag begins in the next batch, as a logarithm over
// that of the machine file, and how surely.
func (m *Machine) Probe(unlearnedSd float64) (lnTau, sd float64) {
	if m.Batches == 0 {
		return 0, unlearnedSd
	}
	return m.LnTau, learnedTauSd
}

// Heat is the same of the heat multiplier, for a batch of greenKg: a bed of
// another mass takes up heat in another way.
func (p *Path) Heat(greenKg, unlearnedSd float64) (lnHeat, sd float64) {
	if p.Batches == 0 || !(math.Abs(math.Log(greenKg/p.GreenKg)) < sameMass) {
		return 0, unlearnedSd
	}
	return p.LnHeat, learnedHeatSd
}

// How surely lag and heat transfer are known from earlier batches (as in package
// observe), and within which share masses count as the same.
const (
	learnedTauSd  = 0.10
	learnedHeatSd = 0.20
	sameMass      = 0.05
)

// LagFrac is how far the probe's lag is from that of the machine file, as a share.
func (m *Machine) LagFrac() float64 { return math.Expm1(m.LnTau) }

package identify

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"drumwright/control/bean"
)

var (
	machine = Machine{NominalFlowKgPerS: 0.011, ElementWPerK: 20, DuctLagS: 2, InletLagS: 4, PanelRadM2: 0.035, PanelWPerK: 0.5, Kinetics: bean.DefaultKinetics()}
	file    = Figures{Efficiency: 0.95, ElementHeat: 160, PanelHeat: 900, GasToBeans: 11.6, DrumToBeans: 1.55, GasToDrum: 2.45, DrumHeat: 1960, DrumLoss: 1.6, ProbeLag: 30, GasShare: 0.1}
)

// roast makes the record of a roast, or of an empty drum, of a machine that has
// the figures v: what the model says of its own readings, with noise.
func roast(v *Figures, greenKg float64, seed uint64, lengthS float64) Segment {
	s := Segment{Name: "roast", GreenKg: greenKg, Moisture: 0.11}
	if greenKg == 0 {
		s.Name = "empty"
	}
	for t := 0.0; t <= lengthS; t++ {
		a := Sample{AtS: t, AirW: 2100 + 900*math.Min(1, t/200), RadiantW: 500, FlowKgPerS: 0.011, RoomC: 24, InletC: 200, SkinC: 215, ExhaustC: 190, BeanC: 190}
		if math.Mod(t, 300) > 150 {
			a.AirW -= 200
			a.RadiantW = 250
			a.FlowKgPerS = 0.0095
		}
		s.Samples = append(s.Samples, a)
	}
	for range 60 { // the model meets its own readings
		run := append([]Sample(nil), s.Samples...)
		s.run(&machine, v, 0, func(i int, c [numChannels]float64) {
			run[i].InletC, run[i].SkinC, run[i].ExhaustC, run[i].BeanC = c[inlet], c[skin], c[exhaust], c[probe]
		})
		s.Samples = run
	}
	rng := rand.New(rand.NewPCG(seed, 3))
	for i := range s.Samples {
		a := &s.Samples[i]
		for _, p := range []*float64{&a.InletC, &a.SkinC, &a.ExhaustC, &a.BeanC} {
			*p += 0.15 * rng.NormFloat64()
		}
	}
	return s
}

// A machine that is off from its file in every figure is found again, within
// three of the stated standard deviations, and what is left over is noise.
func TestFitFindsMachine(t *testing.T) {
	truth := file
	for f, factor := range map[Figure]float64{ElementHeat: 1.2, PanelHeat: 0.85, GasToBeans: 1.15, DrumToBeans: 0.8, GasToDrum: 1.2, DrumHeat: 1.25, DrumLoss: 0.8, ProbeLag: 0.75} {
		truth[f] *= factor
	}
	truth[Efficiency], truth[GasShare] = 0.9, 0.13
	segments := []Segment{roast(&truth, 1, 1, 600), roast(&truth, 0.8, 2, 600), roast(&truth, 0, 3, 900)}
	r, err := Fit(machine, file, segments)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range r.Findings {
		if off := math.Abs(d.Fitted - truth[d.Figure]); off > 3*d.Sd {
			t.Errorf("%s: %.4g, true %.4g, stated sd %.2g", d.Figure.Name(), d.Fitted, truth[d.Figure], d.Sd)
		}
		if !d.Told && d.Figure != PanelHeat { // it trades with what the panels hold at the start
			t.Errorf("%s is not told by two roasts and an empty drum: sd %.2g of %.4g", d.Figure.Name(), d.Sd, d.Fitted)
		}
	}
	for _, l := range r.Left {
		if l.RMSK > 0.4 || l.RMSK > l.RMSBefore {
			t.Errorf("%s of %s: %.2f K left, %.2f before", l.Channel, l.Segment, l.RMSK, l.RMSBefore)
		}
	}
}

// An empty drum tells nothing of beans and probe: those figures stay as the file
// has them, and nothing is proposed for them.
func TestFitLeavesWhatTheDataDoNotTell(t *testing.T) {
	truth := file
	truth[DrumHeat] *= 1.3
	r, err := Fit(machine, file, []Segment{roast(&truth, 0, 3, 900)})
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range r.Findings {
		switch d.Figure {
		case GasToBeans, DrumToBeans, ProbeLag, GasShare:
			if d.Told || d.Change || d.Fitted != d.File || d.Sd < 0.9*figures[d.Figure].sd*map[bool]float64{true: 1, false: d.File}[figures[d.Figure].share] {
				t.Errorf("an empty drum tells %+v", d)
			}
		}
	}
	found := false
	for _, open := range r.Open {
		for _, f := range open {
			found = found || f == GasToBeans
		}
	}
	if !found {
		t.Errorf("air to beans is not named as open: %v", r.Open)
	}
}

// A machine that is as its file says is left alone.
func TestFitChangesNothingThatIsRight(t *testing.T) {
	r, err := Fit(machine, file, []Segment{roast(&file, 1, 5, 600)})
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range r.Findings {
		if math.Abs(d.Fitted-d.File) > 3*d.Sd {
			t.Errorf("%s goes from %.4g to %.4g, stated sd %.2g", d.Figure.Name(), d.File, d.Fitted, d.Sd)
		}
	}
}

func TestFitRefuses(t *testing.T) {
	good := roast(&file, 1, 5, 120)
	edit := func(f func(*Segment)) []Segment {
		s := good
		s.Samples = append([]Sample(nil), good.Samples...)
		f(&s)
		return []Segment{s}
	}
	for name, s := range map[string][]Segment{
		"nothing":     nil,
		"one sample":  edit(func(s *Segment) { s.Samples = s.Samples[:1] }),
		"few":         edit(func(s *Segment) { s.Samples = s.Samples[:10] }),
		"gap":         edit(func(s *Segment) { s.Samples[50].SkinC = math.NaN() }),
		"no air":      edit(func(s *Segment) { s.Samples[50].FlowKgPerS = 0 }),
		"time back":   edit(func(s *Segment) { s.Samples[50].AtS = 3 }),
		"no ambience": edit(func(s *Segment) { s.Samples[0].RoomC = math.Inf(1) }),
	} {
		if _, err := Fit(machine, file, s); err == nil || !strings.Contains(err.Error(), "machine fit") {
			t.Errorf("%s: %v", name, err)
		}
	}
	zero := file
	zero[DrumLoss] = 0
	if _, err := Fit(machine, zero, []Segment{good}); err == nil || !strings.Contains(err.Error(), "bed.drum_loss") {
		t.Errorf("a figure of 0: %v", err)
	}
}

package identify

import (
	"errors"
	"fmt"
	"math"

	"drumwright/control/lsq"
)

// Finding is what is known of one figure after the fit.
type Finding struct {
	Figure Figure
	File   float64
	Fitted float64
	Sd     float64 // standard deviation, in the unit of the figure
	Told   bool    // the data say more of it than was known before
	Change bool    // told, and off by more than its uncertainty: worth writing
}

// Pair is two figures that the data cannot tell apart.
type Pair struct {
	A, B        Figure
	Correlation float64
}

// Left is what is left over of one channel in one segment.
type Left struct {
	Segment, Channel string
	RMSBefore, RMSK  float64 // with the file's figures, and with the fitted ones
	BiasK            float64
	Samples          int
}

// Result is a fit.
type Result struct {
	Findings []Finding
	Pairs    []Pair
	Left     []Left
	Open     [][]Figure // combinations that the data leave open, the figures with most weight in each
}

const (
	// toldShare of what was known before must be left for a figure to be told.
	toldShare = 0.5
	apart     = 0.9 // correlation from which two figures are one
	// panelSdK is how far the panels may be from rest at the start of a segment.
	panelSdK = 60.0
)

// Fit fits the figures of a machine to segments of its record.
func Fit(m Machine, file Figures, segments []Segment) (Result, error) {
	if err := check(&m, &file, segments); err != nil {
		return Result{}, err
	}
	n := int(NumFigures)
	p := lsq.Problem{NoiseSd: 1}
	for f := range NumFigures {
		low, high := -math.Log(3), math.Log(3)
		if figures[f].share {
			low, high = math.Max(0, file[f]/3)-file[f], math.Min(1, 3*file[f]+0.05)-file[f]
		}
		p.Start, p.Low, p.High = append(p.Start, 0), append(p.Low, low), append(p.High, high)
		p.Scale, p.PriorSd = append(p.Scale, figures[f].sd), append(p.PriorSd, figures[f].sd)
	}
	for range segments { // the panels' temperature at its start
		p.Start, p.Low, p.High = append(p.Start, 0), append(p.Low, -400), append(p.High, 400)
		p.Scale, p.PriorSd = append(p.Scale, panelSdK), append(p.PriorSd, panelSdK)
	}
	used := pick(segments)
	for i := range used {
		p.N += used[i].count
	}
	if p.N < 60 {
		return Result{}, fmt.Errorf("machine fit: %d readings to compare, at least 60 are needed; give more batches", p.N)
	}
	p.Residuals = func(x, r []float64) {
		v := decode(&file, x[:n])
		k := 0
		for i := range segments {
			segments[i].run(&m, &v, x[n+i], func(j int, c [numChannels]float64) {
				for ch := range numChannels {
					if used[i].has[ch][j] {
						r[k] = (segments[i].Samples[j].of(ch) - c[ch]) / (leftK[ch] * used[i].alike)
						k++
					}
				}
			})
		}
	}
	res, err := lsq.Solve(p)
	if err != nil {
		return Result{}, fmt.Errorf("machine fit: %w", err)
	}
	return report(&m, &file, segments, used, &res), nil
}

func check(m *Machine, file *Figures, segments []Segment) error {
	if len(segments) == 0 {
		return errors.New("machine fit: no record is given; name batches of the journal")
	}
	for f, v := range file {
		if !(v > 0) || figures[f].share && v > 1 {
			return fmt.Errorf("machine fit: %s is %g in the file; give a figure to begin with", figures[f].key, v)
		}
	}
	if !(m.NominalFlowKgPerS > 0 && m.ElementWPerK > 0 && m.PanelRadM2 > 0) {
		return errors.New("machine fit: nominal air flow, element_to_air and the panels' area must be above 0")
	}
	for i := range segments {
		s := &segments[i]
		if len(s.Samples) < 2 {
			return fmt.Errorf("machine fit: %s holds %d samples; leave it out", s.Name, len(s.Samples))
		}
		for j := range s.Samples {
			a := &s.Samples[j]
			for _, v := range [...]float64{a.AtS, a.AirW, a.RadiantW, a.FlowKgPerS, a.RoomC, a.InletC, a.SkinC} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					return fmt.Errorf("machine fit: %s lacks a reading at %.0f s that the model needs (power, air flow, room, inlet air, drum skin); leave it out or give a stretch without the gap", s.Name, a.AtS)
				}
			}
			if a.FlowKgPerS < 0.05*m.NominalFlowKgPerS || j > 0 && a.AtS <= s.Samples[j-1].AtS {
				return fmt.Errorf("machine fit: %s has no air, or time runs back, at %.0f s; leave it out", s.Name, a.AtS)
			}
		}
	}
	return nil
}

func (a *Sample) of(c channel) float64 {
	return [numChannels]float64{a.InletC, a.SkinC, a.ExhaustC, a.BeanC}[c]
}

// use says which readings of a segment are compared.
type use struct {
	alike float64 // root of the number of readings that count as one
	has   [numChannels][]bool
	count int
}

func pick(segments []Segment) []use {
	list := make([]use, len(segments))
	for i := range segments {
		s, u := &segments[i], &list[i]
		everyS := (s.Samples[len(s.Samples)-1].AtS - s.Samples[0].AtS) / float64(len(s.Samples)-1)
		u.alike = math.Sqrt(math.Max(1, alikeS/everyS))
		for c := range numChannels {
			u.has[c] = make([]bool, len(s.Samples))
			for j := range s.Samples {
				ok := !math.IsNaN(s.Samples[j].of(c))
				switch c {
				case inlet:
					ok = ok && everyS <= sparseS
				case probe:
					ok = ok && s.GreenKg > 0 && s.Samples[j].AtS-s.Samples[0].AtS >= blindS
				case exhaust:
					ok = ok && s.Samples[j].AtS-s.Samples[0].AtS >= 3*exhaustLagS
				}
				if u.has[c][j] = ok; ok {
					u.count++
				}
			}
		}
	}
	return list
}

func report(m *Machine, file *Figures, segments []Segment, used []use, res *lsq.Result) Result {
	var out Result
	n := int(NumFigures)
	v := decode(file, res.X[:n])
	told := [NumFigures]bool{}
	for f := range NumFigures {
		d := Finding{Figure: f, File: file[f], Fitted: v[f], Sd: res.Sd[f]}
		if !figures[f].share {
			d.Sd *= v[f]
		}
		d.Told = res.Sd[f] < toldShare*figures[f].sd && !res.AtBound[f]
		told[f] = d.Told
		d.Change = d.Told && math.Abs(v[f]-file[f]) > 2*d.Sd && math.Abs(res.X[f]) > 0.01
		out.Findings = append(out.Findings, d)
	}
	for a := range n {
		for b := a + 1; b < n; b++ {
			if c := res.Correlation(a, b); math.Abs(c) > apart {
				out.Pairs = append(out.Pairs, Pair{Figure(a), Figure(b), c})
			}
		}
	}
	// What the data alone leave open: directions in which a change of one
	// standard deviation as known before moves the residuals by less than noise.
	for k, s := range res.Singular {
		if s > 1 {
			continue
		}
		var open []Figure
		for f := range n {
			if math.Abs(res.Directions[k][f]) > 0.4 {
				open = append(open, Figure(f))
			}
		}
		if len(open) > 0 {
			out.Open = append(out.Open, open)
		}
	}
	for i := range segments {
		var sum, before, bias [numChannels]float64
		var count [numChannels]int
		add := func(to *[numChannels]float64, count *[numChannels]int, bias *[numChannels]float64) func(int, [numChannels]float64) {
			return func(j int, c [numChannels]float64) {
				for ch := range numChannels {
					if used[i].has[ch][j] {
						d := segments[i].Samples[j].of(ch) - c[ch]
						to[ch] += d * d
						if bias != nil {
							bias[ch] += d
							count[ch]++
						}
					}
				}
			}
		}
		segments[i].run(m, file, 0, add(&before, nil, nil))
		segments[i].run(m, &v, res.X[n+i], add(&sum, &count, &bias))
		for ch := range numChannels {
			if k := float64(count[ch]); k > 0 {
				out.Left = append(out.Left, Left{segments[i].Name, channelName[ch], math.Sqrt(before[ch] / k), math.Sqrt(sum[ch] / k), bias[ch] / k, count[ch]})
			}
		}
	}
	return out
}

package assess

import (
	"fmt"
	"slices"
)

// Goal is one goal and whether it was kept.
type Goal struct {
	Text string `json:"text"`
	Got  string `json:"got"`
	Kept bool   `json:"kept"`
	Must bool   `json:"must"` // decides the exit code
}

// Summary is one size, one curve, one group.
type Summary struct {
	Size       string  `json:"size"`
	Curve      string  `json:"curve"`
	Group      Group   `json:"group"`
	Cells      int     `json:"cells"`
	Feasible   int     `json:"feasible"`
	MedianC    float64 `json:"rms_median_c"` // of the feasible cells, as all below
	NinetyC    float64 `json:"rms_90_c"`
	WorstC     float64 `json:"rms_worst_c"`
	WorstMaxC  float64 `json:"max_worst_c"`
	WorstDropC float64 `json:"drop_error_worst_c"`
	BrokenOff  int     `json:"broken_off"` // feasible or not
}

// kept reports whether the batch was roasted to its end within a limit.
func (r *Result) kept(limitC float64) bool { return r.BrokenOffBy == "" && r.RmsC <= limitC }

// Summarise gathers the results by size, curve and group, in their order.
func Summarise(results []Result) []Summary {
	var out []Summary
	for _, r := range results {
		if !slices.ContainsFunc(out, func(s Summary) bool { return s.of(&r) }) {
			out = append(out, Summary{Size: r.Size, Curve: r.Curve, Group: r.Group})
		}
	}
	for i := range out {
		s := &out[i]
		var rms []float64
		for j := range results {
			r := &results[j]
			if !s.of(r) {
				continue
			}
			s.Cells++
			if r.BrokenOffBy != "" {
				s.BrokenOff++
			}
			if !r.Feasible {
				continue
			}
			s.Feasible++
			rms = append(rms, r.RmsC)
			s.WorstMaxC = max(s.WorstMaxC, r.MaxC)
			s.WorstDropC = max(s.WorstDropC, r.DropErrorC, -r.DropErrorC)
		}
		s.MedianC, s.NinetyC, s.WorstC = quantile(rms, 0.5), quantile(rms, 0.9), quantile(rms, 1)
	}
	return out
}

func (s *Summary) of(r *Result) bool {
	return s.Size == r.Size && s.Curve == r.Curve && s.Group == r.Group
}

// quantile is the smallest value that at least the share of all does not
// exceed; 0 of none.
func quantile(v []float64, share float64) float64 {
	if len(v) == 0 {
		return 0
	}
	v = slices.Sorted(slices.Values(v))
	for i, x := range v {
		if float64(i+1) >= share*float64(len(v)) {
			return x
		}
	}
	return v[len(v)-1]
}

// Judge holds the results against the goals. A batch that was broken off keeps
// none.
func Judge(results []Result) []Goal {
	var goals []Goal
	each := func(g Group, text string, must bool, good func(*Result) bool) {
		n, ok := 0, 0
		for i := range results {
			if r := &results[i]; r.Group == g && r.Feasible {
				n++
				if good(r) {
					ok++
				}
			}
		}
		if n > 0 {
			goals = append(goals, Goal{Text: text, Got: fmt.Sprintf("%d of %d in reach", ok, n), Kept: ok == n, Must: must})
		}
	}
	each(Nominal, fmt.Sprintf("nominal: rms at most %.1f °C and never more than %.1f °C off", nominalRmsC, nominalMaxC), true,
		func(r *Result) bool { return r.kept(nominalRmsC) && r.MaxC <= nominalMaxC })
	each(Nominal, fmt.Sprintf("nominal: roughness at most %.1f K/min, and the rate of rise never rises", nominalRough), true,
		func(r *Result) bool { return r.BrokenOffBy == "" && r.RoughKPerMin <= nominalRough && r.RateRises == 0 })
	var singles heldBack
	for i := range results {
		if r := &results[i]; r.Group == Single && r.Feasible {
			singles.add(r.Size+" "+r.Curve+" "+r.Name, r.BrokenOffBy == "", &r.Figures, singleRmsC)
		}
	}
	if singles.n > 0 {
		goals = append(goals, singles.goal("single mismatches", singleRmsC, true))
	}
	many := func(g Group, limitC float64) {
		n, ok := 0, 0
		for i := range results {
			if r := &results[i]; r.Group == g && r.Feasible {
				n++
				if r.kept(limitC) {
					ok++
				}
			}
		}
		if n > 0 {
			goals = append(goals, Goal{Text: fmt.Sprintf("%s: rms at most %.1f °C in %.0f %%", g, limitC, 100*manyShare),
				Got: fmt.Sprintf("%d of %d in reach", ok, n), Kept: float64(ok) >= manyShare*float64(n)})
		}
	}
	many(Corner, cornerRmsC)
	each(Corner, fmt.Sprintf("corner: rms never above %.1f °C", cornerWorstC), false, func(r *Result) bool { return r.kept(cornerWorstC) })
	each(Structure, fmt.Sprintf("structure: rms at most %.1f °C", structureRmsC), false, func(r *Result) bool { return r.kept(structureRmsC) })
	many(Random, randomRmsC)
	var rms []float64
	for i := range results {
		if r := &results[i]; r.Group == Random && r.Feasible {
			rms = append(rms, r.RmsC)
		}
	}
	if len(rms) > 0 {
		mid := quantile(rms, 0.5)
		goals = append(goals, Goal{Text: fmt.Sprintf("random: median rms at most %.1f °C", randomMidC), Got: fmt.Sprintf("%.2f °C", mid), Kept: mid <= randomMidC})
	}
	return goals
}

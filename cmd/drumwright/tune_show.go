package main

import (
	"fmt"
	"io"
	"math"
	"strings"
	"text/tabwriter"

	"drumwright/cmd/drumwright/internal/amend"
	"drumwright/control/tune"
	"drumwright/io/record"
	"drumwright/profiles"
)

// chooseRule takes the same rule at all flows if one may be taken at all of
// them: the one with the smallest load errors.
func chooseRule(list []tuned) {
	type tally struct {
		n   int
		iae float64
	}
	rules := map[string]*tally{}
	for i := range list {
		for _, c := range list[i].Candidates {
			if c.Objection != "" {
				continue
			}
			if rules[c.Rule] == nil {
				rules[c.Rule] = &tally{}
			}
			rules[c.Rule].n++
			rules[c.Rule].iae += c.Worth()
		}
	}
	best, least := "", math.Inf(1)
	for _, rule := range []string{tune.InUse, "SIMC PI", "AMIGO PI", "SIMC PID", "AMIGO PID"} {
		if t := rules[rule]; t != nil && t.n == len(list) && t.iae < least {
			best, least = rule, t.iae
		}
	}
	if best == "" {
		return
	}
	for i := range list {
		for j, c := range list[i].Candidates {
			if c.Rule == best {
				list[i].Chosen = j
			}
		}
	}
}

// keepsAll reports whether the gains in use are the best everywhere.
func keepsAll(list []tuned) bool {
	for i := range list {
		if list[i].Chosen != 0 {
			return false
		}
	}
	return len(list) > 0
}

// gainEdits are the changes of the machine file that the recommendations make;
// none if one of the experiments has no recommendation.
func gainEdits(m *profiles.Machine, loop string, list []tuned) []amend.Edit {
	if len(list) == 0 {
		return nil
	}
	for i := range list {
		if list[i].Chosen < 0 {
			return nil
		}
	}
	if keepsAll(list) {
		return nil
	}
	if loop == "base" {
		g := list[0].Candidates[list[0].Chosen].Gains
		return []amend.Edit{
			{Path: "loops.base.gains.gain", Value: fmt.Sprintf("%.3g W/K", g.Kc)},
			{Path: "loops.base.gains.integral", Value: fmt.Sprintf("%.4g s", g.TiS)},
			{Path: "loops.base.gains.derivative", Value: fmt.Sprintf("%.4g s", g.TdS)},
		}
	}
	var edits []amend.Edit
	if m.Loops.Air.Gains != (profiles.Gains{}) {
		edits = append(edits, amend.Edit{Path: "loops.air.gains"})
	}
	var lines []string
	line := func(flow, gain, ti, td float64) {
		lines = append(lines, fmt.Sprintf("- {flow: %.4g kg/h, gain: %.3g W/K, integral: %.3g s, derivative: %.3g s}", flow, gain, ti, td))
	}
	at := 0
	add := func(limit float64) { // the file's own flows up to limit, but for those tuned anew
		for ; at < len(m.Loops.Air.AtFlow) && float64(m.Loops.Air.AtFlow[at].Flow) < limit; at++ {
			old, anew := m.Loops.Air.AtFlow[at], false
			for i := range list {
				anew = anew || math.Abs(float64(old.Flow)/list[i].FlowKgPerH-1) < sameFlow
			}
			if !anew {
				line(float64(old.Flow), old.GainWPerK, float64(old.IntegralS), float64(old.DerivS))
			}
		}
	}
	for i := range list {
		add(list[i].FlowKgPerH)
		g := list[i].Candidates[list[i].Chosen].Gains
		line(list[i].FlowKgPerH, g.Kc, g.TiS, g.TdS)
	}
	add(math.Inf(1))
	return append(edits, amend.Edit{Path: "loops.air.gains_at_flow", Lines: lines})
}

// sameFlow is how close two air flows are to count as one.
const sameFlow = 0.06

func printTune(w io.Writer, m *profiles.Machine, o *tuneOptions, list []tuned, edits []amend.Edit) error {
	for i := range list {
		if err := printTuned(w, m, o.loop, &list[i], i == len(list)-1); err != nil {
			return err
		}
	}
	if len(edits) == 0 {
		return nil
	}
	fmt.Fprintln(w, "\nFor the machine file:")
	fmt.Fprintln(w)
	printEdits(w, edits)
	fmt.Fprintln(w)
	return nil
}

func plusMinus(v, sd float64) string { return fmt.Sprintf("%.3g ±%.2g", v, 2*sd) }

func printTuned(w io.Writer, m *profiles.Machine, loop string, r *tuned, legend bool) error {
	fmt.Fprintf(w, "\nThe %s loop%s: %s.\n\n", loop, atFlow(r.FlowKgPerH), r.How)
	if len(r.Fits) > 0 {
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, "  process\tgain K/W\tlag s\t2nd lag s\tdead time s\texplained\tleft over K\t")
		for i, f := range r.Fits {
			gain, lag, second, note := plusMinus(f.Process.Gain, f.GainSd), "-", "-", ""
			if f.Process.Integrating {
				gain += " /s"
			} else {
				lag = plusMinus(f.Process.Tau1S, f.Tau1SdS)
			}
			if f.Model != tune.FirstOrder {
				second = plusMinus(f.Process.Tau2S, f.Tau2SdS)
			}
			if i == r.Best {
				note = "taken"
			}
			fmt.Fprintf(t, "  %s\t%s\t%s\t%s\t%s\t%.2f %%\t%.2f\t%s\n", f.Model, gain, lag, second, plusMinus(f.Process.DelayS, f.DelaySdS), 100*f.R2, f.RMS, note)
		}
		if err := t.Flush(); err != nil {
			return err
		}
		fmt.Fprintln(w)
	}
	if len(r.Candidates) > 0 {
		load := 0.1 * ratedW(m, loop)
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		fmt.Fprintln(t, "  gains by\tW/K\tint. s\tder. s\tMs\tif off\tGM\tPM\tover\tset IAE\tpeak\tload IAE\tnoise\t")
		for i, c := range r.Candidates {
			note := c.Objection
			switch {
			case i == r.Chosen:
				note = "recommended"
			case note != "":
				note = "no: " + note
			}
			p := &c.Predicted
			set, peak, iae := fmt.Sprintf("%.0f %%\t%.0f K s", 100*p.OvershootShare, 10*p.SetPointIAE), fmt.Sprintf("%.1f K", load*p.LoadPeak), fmt.Sprintf("%.0f K s", load*p.LoadIAE)
			if math.IsInf(c.Margins.Ms, 1) {
				set, peak, iae = "oscillates\t-", "-", "-"
			}
			fmt.Fprintf(t, "  %s\t%.3g\t%.3g\t%.3g\t%.2f\t%.2f\t%.1f\t%.0f°\t%s\t%s\t%s\t%.0f W\t%s\n", c.Rule, c.Gains.Kc, c.Gains.TiS, c.Gains.TdS, c.Margins.Ms, c.WorstMs,
				min(c.Margins.Gain, 99), min(c.Margins.PhaseDeg, 180), set, peak, iae, c.NoiseW, note)
		}
		if err := t.Flush(); err != nil {
			return err
		}
		if legend {
			fmt.Fprintf(w, legendText, tune.TargetMs, load)
		}
	}
	if r.Why != "" {
		fmt.Fprintf(w, "  No gains are recommended: %s.\n", r.Why)
	}
	return nil
}

const legendText = `
  Gain in W/K, integral and derivative time. Ms: how much larger the loop makes a
  disturbance at worst, up to %.1f is wanted; "if off": with the fit at the edge of
  its certainty. GM, PM: gain and phase margin. Over, set IAE: overshoot and error
  summed over time after 10 K of set point, by the feedback alone; the loop's own
  reference is gentler. Peak, load IAE: after a load of %.0f W. Noise: what the
  noise of the reading does to the power.
`

// printEdits shows the changes as a piece of a machine file.
func printEdits(w io.Writer, edits []amend.Edit) {
	var open []string
	for _, e := range edits {
		if e.Value == "" && e.Lines == nil {
			continue
		}
		keys := strings.Split(e.Path, ".")
		same := 0
		for same < len(open) && same < len(keys)-1 && open[same] == keys[same] {
			same++
		}
		for i := same; i < len(keys)-1; i++ {
			fmt.Fprintf(w, "%s%s:\n", strings.Repeat("  ", i+1), keys[i])
		}
		open = keys[:len(keys)-1]
		indent := strings.Repeat("  ", len(keys))
		fmt.Fprintf(w, "%s%s:", indent, keys[len(keys)-1])
		if e.Value != "" {
			fmt.Fprintf(w, " %s", e.Value)
		}
		fmt.Fprintln(w)
		for _, l := range e.Lines {
			fmt.Fprintf(w, "%s  %s\n", indent, l)
		}
	}
}

func printTuneJSON(w io.Writer, m *profiles.Machine, o *tuneOptions, list []tuned, edits []amend.Edit) error {
	type fit struct {
		Model     string  `json:"model"`
		Gain      float64 `json:"gain_k_per_w"` // integrating: per s of it
		GainSd    float64 `json:"gain_sd"`
		Lag1S     float64 `json:"lag_s"`
		Lag1SdS   float64 `json:"lag_sd_s"`
		Lag2S     float64 `json:"second_lag_s"`
		Lag2SdS   float64 `json:"second_lag_sd_s"`
		DelayS    float64 `json:"dead_time_s"`
		DelaySdS  float64 `json:"dead_time_sd_s"`
		R2        float64 `json:"r2"`
		NRMSE     float64 `json:"nrmse"`
		ResidualK float64 `json:"residual_k"`
		Taken     bool    `json:"taken"`
	}
	type gains struct {
		Rule        string        `json:"rule"`
		GainWPerK   float64       `json:"gain_w_per_k"`
		IntegralS   float64       `json:"integral_s"`
		DerivativeS float64       `json:"derivative_s"`
		Ms          record.Number `json:"ms"` // null: unstable
		WorstMs     record.Number `json:"ms_if_off"`
		GainMargin  record.Number `json:"gain_margin"` // null: without end
		PhaseDeg    record.Number `json:"phase_margin_deg"`
		Overshoot   record.Number `json:"overshoot"`
		SetIAE      record.Number `json:"set_iae_s"`          // for 1 K
		LoadIAE     record.Number `json:"load_iae_k_s_per_w"` // for 1 W
		LoadPeak    record.Number `json:"load_peak_k_per_w"`  // for 1 W
		NoiseW      float64       `json:"noise_w"`            // standard deviation in the output
		Objection   string        `json:"objection"`          // "" = may be taken
		Recommended bool          `json:"recommended"`
	}
	type result struct {
		FlowKgPerH float64 `json:"flow_kg_per_h"` // 0 = as it was
		How        string  `json:"how"`
		Fits       []fit   `json:"fits"`
		Gains      []gains `json:"gains"`
		Why        string  `json:"why"` // nothing is recommended
	}
	finite := func(v float64) record.Number {
		if math.IsInf(v, 0) || math.IsNaN(v) {
			return record.Unknown
		}
		return record.Number(v)
	}
	results := []result{}
	for _, r := range list {
		x := result{FlowKgPerH: r.FlowKgPerH, How: r.How, Why: r.Why, Fits: []fit{}, Gains: []gains{}}
		for i, f := range r.Fits {
			x.Fits = append(x.Fits, fit{f.Model.String(), f.Process.Gain, f.GainSd, f.Process.Tau1S, f.Tau1SdS, f.Process.Tau2S, f.Tau2SdS, f.Process.DelayS, f.DelaySdS, f.R2, f.NRMSE, f.RMS, i == r.Best})
		}
		for i, c := range r.Candidates {
			g := gains{Rule: c.Rule, GainWPerK: c.Gains.Kc, IntegralS: c.Gains.TiS, DerivativeS: c.Gains.TdS, Ms: finite(c.Margins.Ms), WorstMs: finite(c.WorstMs),
				GainMargin: finite(c.Margins.Gain), PhaseDeg: finite(c.Margins.PhaseDeg), NoiseW: c.NoiseW, Objection: c.Objection, Recommended: i == r.Chosen,
				Overshoot: record.Unknown, SetIAE: record.Unknown, LoadIAE: record.Unknown, LoadPeak: record.Unknown}
			if p := &c.Predicted; g.Ms.Known() {
				g.Overshoot, g.SetIAE, g.LoadIAE, g.LoadPeak = finite(p.OvershootShare), finite(p.SetPointIAE), finite(p.LoadIAE), finite(p.LoadPeak)
			}
			x.Gains = append(x.Gains, g)
		}
		results = append(results, x)
	}
	var fragment strings.Builder
	printEdits(&fragment, edits)
	return printJSON(w, map[string]any{"machine": m.About.Name, "loop": o.loop, "results": results, "fragment": fragment.String()})
}

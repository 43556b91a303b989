package assess

import (
	"fmt"
	"io"
	"text/tabwriter"
)

// Print writes the table of all cells, the summary and the goals for people.
func Print(w io.Writer, results []Result, goals []Goal) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "machine\tcurve\tgroup\tname\trms\tsettled\tmost\tat drop\tloss\tbeans\tat limit\trough\trises\tbest\treach\t")
	fmt.Fprintln(t, "\t\t\t\t°C\t°C\t°C\t°C\tpoints\tK\t%\tK/min\t\t°C\t\t")
	for i := range results {
		r := &results[i]
		reach := "yes"
		switch {
		case r.BrokenOffBy != "" && !r.Feasible:
			reach = "no, " + r.BrokenOffBy
		case r.BrokenOffBy != "":
			reach = "broken off: " + r.BrokenOffBy
		case !r.Feasible:
			reach = "no"
		}
		best := "-"
		if r.BestRmsC != r.RmsC {
			best = fmt.Sprintf("%.2f", r.BestRmsC)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%.2f\t%.2f\t%.2f\t%+.2f\t%+.1f\t%.2f\t%.0f\t%.2f\t%d\t%s\t%s\t\n", r.Size, r.Curve, r.Group, r.Name,
			r.RmsC, r.SettledRmsC, r.MaxC, r.DropErrorC, 100*r.LossError, r.BeanErrorC, 100*r.LimitedShare, r.RoughKPerMin, r.RateRises, best, reach)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w, "\nOf the cells in reach: rms median, 90 %, worst; worst deviation; worst at the planned drop; °C.")
	for _, s := range Summarise(results) {
		fmt.Fprintf(t, "%s\t%s\t%s\t%d cells\t%d in reach\t%.2f\t%.2f\t%.2f\t%.2f\t%.2f\t", s.Size, s.Curve, s.Group, s.Cells, s.Feasible,
			s.MedianC, s.NinetyC, s.WorstC, s.WorstMaxC, s.WorstDropC)
		if s.BrokenOff > 0 {
			fmt.Fprintf(t, "%d broken off", s.BrokenOff)
		}
		fmt.Fprintln(t, "\t")
	}
	if err := t.Flush(); err != nil {
		return err
	}
	fmt.Fprintln(w)
	printGoals(w, goals)
	return nil
}

func printGoals(w io.Writer, goals []Goal) {
	for _, g := range goals {
		mark := "kept  "
		if !g.Kept {
			mark = "MISSED"
		}
		fmt.Fprintf(w, "%s  %s: %s\n", mark, g.Text, g.Got)
	}
}

package assess

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"drumwright/io/record"
	"drumwright/io/report"
)

// Plot roasts a cell once more and writes its report into the folder. It
// returns the path.
func Plot(r *Result, folder string) (string, error) {
	s := report.Session{Machine: r.Size, Recipe: "curve " + r.Curve,
		Note: fmt.Sprintf("Simulated: %s, seed %d of the noise.", r.Name, r.Cell.Seed)}
	b := report.Batch{ID: 1, Figures: []report.Figure{
		{Name: "off the curve, rms", Value: fmt.Sprintf("%.2f", r.RmsC), Unit: "°C"},
		{Name: "off the curve, most", Value: fmt.Sprintf("%.2f", r.MaxC), Unit: "°C"},
		{Name: "at the planned drop", Value: fmt.Sprintf("%+.2f", r.DropErrorC), Unit: "°C"},
		{Name: "loss, estimated less true", Value: fmt.Sprintf("%+.1f", 100*r.LossError), Unit: "points"},
		{Name: "bean temperature, rms error", Value: fmt.Sprintf("%.2f", r.BeanErrorC), Unit: "K"},
		{Name: "time at a limit", Value: fmt.Sprintf("%.0f", 100*r.LimitedShare), Unit: "%"},
	}}
	next := 0.0
	_, err := roast(r.Cell, false, func(s *record.Scan) {
		if s.Batch.ID == 0 {
			return
		}
		for i := range s.NumEvents {
			if e := s.Events[i]; e.Kind != record.Accepted {
				b.Events = append(b.Events, report.Event{S: s.Batch.SinceS, Kind: e.Kind, Name: e.Name, Text: e.Text})
			}
		}
		if s.Batch.SinceS >= next {
			next = s.Batch.SinceS + 1
			b.Samples = append(b.Samples, report.SampleOf(s))
		}
	})
	if err != nil {
		return "", err
	}
	s.Batches = []report.Batch{b}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return "", fmt.Errorf("folder for the plots: %w", err)
	}
	path := filepath.Join(folder, fileName(r)+".html")
	f, err := os.Create(path)
	if err != nil {
		return "", fmt.Errorf("plot: %w", err)
	}
	if err := report.Write(f, &s); err != nil {
		f.Close()
		return "", fmt.Errorf("plot %s: %w", path, err)
	}
	return path, f.Close()
}

func fileName(r *Result) string {
	name := r.Size + "-" + r.Curve + "-" + string(r.Group) + "-" + r.Name
	return strings.Map(func(c rune) rune {
		switch {
		case c >= 'a' && c <= 'z', c >= 'A' && c <= 'Z', c >= '0' && c <= '9', c == '-', c == '+', c == '.':
			return c
		}
		return '_'
	}, name)
}

// Telling are the results worth a look: each nominal batch, and of every other
// summary the worst that was in reach.
func Telling(results []Result) []*Result {
	var out []*Result
	for _, s := range Summarise(results) {
		var worst *Result
		for i := range results {
			if r := &results[i]; s.of(r) && (r.Feasible || r.Group == Nominal) && (worst == nil || r.RmsC > worst.RmsC) {
				worst = r
			}
		}
		if worst != nil {
			out = append(out, worst)
		}
	}
	return out
}

// Telling are the last, learned batches worth a look: of each size the nominal one
// on the first curve, and the worst that was in reach.
func (st *Study) Telling() []*Result {
	var out []*Result
	worst := map[string]*Repeat{}
	for i := range st.Repeats {
		r := &st.Repeats[i]
		if r.cell.Group == Nominal && r.cell.Curve == &curves[0] {
			out = append(out, r.result())
		}
		if w := worst[r.Size]; r.InReach && (w == nil || r.Last.RmsC > w.Last.RmsC) {
			worst[r.Size] = r
		}
	}
	for _, size := range slices.Sorted(maps.Keys(worst)) {
		out = append(out, worst[size].result())
	}
	return out
}

func (r *Repeat) result() *Result {
	return &Result{Cell: r.cell, Name: fmt.Sprintf("%s, batch %d of those that learn", r.Name, len(r.RmsC)), Size: r.Size, Curve: r.Curve, Group: r.cell.Group, Figures: r.Last}
}

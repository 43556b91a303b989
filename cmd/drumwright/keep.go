package main

import (
	"fmt"
	"os"
	"path/filepath"
	"time"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/io/record"
	"drumwright/io/report"
	"drumwright/profiles"
)

// keeper keeps one sample a second of every batch for the report.
type keeper struct {
	session report.Session
	open    bool
	nextS   float64
}

func newKeeper(m *profiles.Machine, r *profiles.Recipe, seed uint64) *keeper {
	return &keeper{session: report.Session{
		Machine: m.About.Name, Site: m.About.Site, Recipe: r.Name,
		Note:  fmt.Sprintf("Simulated machine, seed %d. Everything in this report is invented for the demonstration.", seed),
		Start: time.Now(),
	}}
}

// Put takes a sample while beans are in the drum.
func (k *keeper) Put(s *record.Scan) {
	b := &s.Batch
	if b.ID == 0 {
		k.open = false
		return
	}
	all := &k.session.Batches
	if n := len(*all); n == 0 || (*all)[n-1].ID != b.ID {
		*all = append(*all, report.Batch{ID: b.ID})
		k.open, k.nextS = true, 0
	}
	last := &(*all)[len(*all)-1]
	for i := range s.NumEvents {
		e, at := s.Events[i], b.SinceS
		if e.Kind == record.Accepted {
			continue
		}
		switch e.Name { // both are noticed a little after they are
		case record.MilestoneCharge:
			at = 0
		case record.MilestoneTurningPoint:
			at = b.TurnS
		}
		last.Events = append(last.Events, report.Event{S: at, Kind: e.Kind, Name: e.Name, Text: e.Text})
	}
	if k.open && b.SinceS >= k.nextS {
		k.nextS = b.SinceS + 1
		last.Samples = append(last.Samples, report.SampleOf(s))
	}
	if b.DropS > 0 {
		k.open = false
	}
}

// write writes the report into the folder and returns its path.
func (k *keeper) write(folder string, res *rehearsal.Result) (string, error) {
	for i := range res.Batches {
		b := &res.Batches[i]
		for j := range k.session.Batches {
			if k.session.Batches[j].ID == b.ID {
				k.session.Batches[j].Figures = figures(b)
			}
		}
	}
	for _, t := range res.Trips {
		k.session.Remarks = append(k.session.Remarks, fmt.Sprintf("Trip: %s, safe state %s. %s", t.Cause, t.SafeState, t.Text))
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return "", fmt.Errorf("folder for the report: %w", err)
	}
	path := filepath.Join(folder, "report.html")
	f, err := os.Create(path)
	if err != nil {
		return "", fmt.Errorf("report: %w", err)
	}
	if err := report.Write(f, &k.session); err != nil {
		f.Close()
		return "", fmt.Errorf("report %s: %w", path, err)
	}
	return path, f.Close()
}

func figures(b *rehearsal.Batch) []report.Figure {
	num := func(name, format string, v float64, unit string) report.Figure {
		return report.Figure{Name: name, Value: fmt.Sprintf(format, v), Unit: unit}
	}
	return []report.Figure{
		num("turning point", "%.0f", b.TurningPointS, "s"),
		num("first crack heard", "%.0f", b.FirstCrackS, "s"),
		num("drop", "%.0f", b.DropS, "s"),
		num("drop temperature", "%.1f", b.DropC, "°C"),
		num("drop error", "%+.1f", b.DropErrorC, "°C"),
		num("off the curve, rms", "%.2f", b.TrackingRmsC, "°C"),
		num("off the curve, most", "%.2f", b.TrackingMaxC, "°C"),
		num("loss, estimated", "%.1f", 100*b.LossEstimated, "%"),
		num("loss, true (simulated)", "%.1f", 100*b.LossTrue, "%"),
		num("heat used", "%.2f", b.EnergyKWh, "kWh"),
	}
}

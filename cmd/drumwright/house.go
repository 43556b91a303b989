package main

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"drumwright/control"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety"
)

// house tells the panel of the machine and of the recipes in its folder.
type house struct {
	machine *profiles.Machine
	view    record.MachineView
	store   commissionStore
	bench   string // why commissioning is not asked for, "" if it is
	folder  string
	find    func(string) (*profiles.Recipe, error)
}

// newHouse describes the machine once: it does not change while the daemon runs.
// bench says why commissioning is not asked for, "" if it is.
func newHouse(m *profiles.Machine, store commissionStore, folder, today, bench string, simulated bool, scale float64) (*house, error) {
	exceptions, err := safety.Exceptions(m, today)
	if err != nil {
		return nil, err
	}
	if bench != "" && !simulated {
		exceptions = append(exceptions, "commissioning is not asked for: "+bench)
	}
	v := record.MachineView{Name: m.About.Name, Site: m.About.Site, Note: m.About.Note, Hash: m.Hash, Version: versionText(),
		Simulated: simulated, TimeScale: scale, Strips: strips(m), NotCovered: list(m.Missing()), Exceptions: list(exceptions),
		FirePlan: record.FirePlanView{Number: m.FirePlan.Number, Address: m.FirePlan.Address, Meeting: m.FirePlan.Meeting, Own: m.FirePlan.Own}}
	return &house{m, v, store, bench, folder, recipesIn(folder)}, nil
}

// list is s, but never null in JSON.
func list(s []string) []string { return append([]string{}, s...) }

// beyond is how far a strip goes on past its trip.
const beyond = 1.08

func strips(m *profiles.Machine) record.StripsView {
	none, most := record.Unknown, 3600*m.FlowKgPerS(float64(m.Air.MaxHz))
	k := m.SkinMMPerSPerHz()
	temperature := func(trip, highest profiles.Celsius, band float64) record.StripView {
		return record.StripView{Unit: "°C", Top: beyond * float64(trip), Band: band, Least: none, Most: record.Number(highest), Trip: record.Number(trip)}
	}
	return record.StripsView{
		Base:  temperature(m.Limits.SkinHigh.At, m.Loops.Base.MaxSet, float64(m.Batch.ReadyBandK)),
		Inlet: temperature(m.Limits.InletHigh.At, m.Loops.Air.MaxSet, float64(m.Batch.ReadyBandK)),
		Drum:  record.StripView{Unit: "mm/s", Top: beyond * k * float64(m.Drum.MaxHz), Band: 8, Least: record.Number(k * float64(m.Drum.MinHz)), Most: record.Number(k * float64(m.Drum.MaxHz)), Trip: none},
		Flow:  record.StripView{Unit: "kg/h", Top: beyond * most, Band: 0.05 * float64(m.Air.Nominal), Least: record.Number(m.Air.MinForHeat), Most: record.Number(most), Trip: none},
	}
}

// Machine describes the machine.
func (s *house) Machine() record.MachineView { return s.view }

// Matrix is the cause-and-effect matrix of today, as drumwright matrix prints it, with
// what each cause means.
func (s *house) Matrix() record.Matrix {
	x := newMatrix(s.machine, time.Now().Format(time.DateOnly))
	v := record.Matrix{Columns: append(x.header(), "what it means"), Rows: [][]string{}}
	for _, l := range x.watched() {
		v.Rows = append(v.Rows, append(x.cells(l), l.Cause+" "+l.Consequence+" "+l.Action))
	}
	return v
}

// Commissioning is what drumwright check says of it.
func (s *house) Commissioning(ctx context.Context) (record.CommissionBook, error) {
	kept, err := s.store.Commissioned(ctx)
	if err != nil {
		return record.CommissionBook{}, err
	}
	items := commissionState(s.machine, kept, played(s.machine), time.Now())
	book := record.CommissionBook{Items: []record.CommissionStanding{}, Lacks: commissionLacks(items), NotAsked: s.bench, Next: nextStep(s.machine, items)}
	for i := range items {
		book.Items = append(book.Items, items[i].standing(s.machine))
	}
	return book, nil
}

// Recipes lists the recipes of the folder by name, also those that cannot be
// used, with the reason.
func (s *house) Recipes() ([]record.RecipeRow, error) {
	files, err := filepath.Glob(filepath.Join(s.folder, "*.yaml"))
	if err != nil {
		return nil, err
	}
	slices.Sort(files)
	rows := []record.RecipeRow{}
	for _, f := range files {
		name := strings.TrimSuffix(filepath.Base(f), ".yaml")
		r, err := s.find(name)
		if err != nil {
			rows = append(rows, record.RecipeRow{Name: name, Title: name, GreenKg: record.Unknown, Faults: err.Error()})
			continue
		}
		rows = append(rows, s.row(name, r))
	}
	return rows, nil
}

func (s *house) row(name string, r *profiles.Recipe) record.RecipeRow {
	row := record.RecipeRow{Name: name, Title: r.Name, Coffee: r.Coffee, GreenKg: record.Number(r.Charge.Green), Curve: len(r.Curve) > 0,
		Drop: dropText(&r.Drop), LatestS: float64(r.Drop.LatestS)}
	if err := profiles.Fit(r, s.machine); err != nil {
		row.Faults = err.Error()
	}
	return row
}

// Recipe gives one recipe with its file's text.
func (s *house) Recipe(name string) (record.RecipeView, error) {
	path := filepath.Join(s.folder, name+".yaml")
	text, err := os.ReadFile(path)
	if err != nil {
		return record.RecipeView{}, err
	}
	r, err := s.find(name)
	if err != nil { // the text is shown all the same: it is what must be mended
		return record.RecipeView{RecipeRow: record.RecipeRow{Name: name, Title: name, GreenKg: record.Unknown, Faults: err.Error()},
			Moisture: record.Unknown, InletC: record.Unknown, SkinC: record.Unknown, DropC: record.Unknown, DropLoss: record.Unknown, Text: string(text), Hash: contentHash(text)}, nil
	}
	v := record.RecipeView{RecipeRow: s.row(name, r), Note: r.Note, Hash: r.Hash, Moisture: record.Unknown,
		InletC: record.Number(r.Charge.Air), SkinC: record.Number(r.Charge.Skin), DropC: orUnknown(r.Drop.Bean), DropLoss: orUnknown(r.Drop.Loss),
		Points: []record.CurveView{}, Stages: []record.StageView{}, Speeds: []record.SpeedView{}, Text: string(text), Advice: []string{}, Understood: []string{}}
	for _, a := range profiles.Advise(r) {
		v.Advice = append(v.Advice, a.String())
	}
	for _, x := range profiles.ConvertedIn(text) {
		v.Understood = append(v.Understood, x.String())
	}
	if r.Charge.MoistureKnown {
		v.Moisture = record.Number(r.Charge.Moisture)
	}
	for _, p := range r.Curve {
		v.Points = append(v.Points, record.CurveView{AtS: float64(p.AtS), BeanC: float64(p.Bean)})
	}
	v.Dense, err = denseCurve(r.Curve)
	if err != nil {
		return record.RecipeView{}, err
	}
	for _, x := range r.Stages {
		v.Stages = append(v.Stages, record.StageView{When: x.When.String(), InletC: orUnknown(x.Inlet), SkinC: orUnknown(x.Skin), FlowKgPerH: orUnknown(x.Flow)})
	}
	speeds := r.Speed
	if len(speeds) == 0 {
		speeds = s.machine.Drum.Schedule
	}
	for _, x := range speeds {
		v.Speeds = append(v.Speeds, record.SpeedView{Loss: float64(x.Loss), MMPerS: float64(x.Speed)})
	}
	return v, nil
}

// denseCurve is the curve as the bean loop reads it.
func denseCurve(points []profiles.CurvePoint) ([]record.CurveView, error) {
	dense := []record.CurveView{}
	if len(points) == 0 {
		return dense, nil
	}
	curve, err := control.RecipeCurve(points)
	if err != nil {
		return nil, err
	}
	const stepS = 5
	end := float64(points[len(points)-1].AtS)
	for t := float64(points[0].AtS); t < end; t += stepS {
		c, _, _ := curve.At(t)
		dense = append(dense, record.CurveView{AtS: t, BeanC: c})
	}
	c, _, _ := curve.At(end)
	return append(dense, record.CurveView{AtS: end, BeanC: c}), nil
}

func orUnknown[T ~float64](v *T) record.Number {
	if v == nil || math.IsNaN(float64(*v)) {
		return record.Unknown
	}
	return record.Number(*v)
}

func dropText(d *profiles.Drop) string {
	var parts []string
	if d.Bean != nil {
		parts = append(parts, "bean "+d.Bean.String())
	}
	if d.Loss != nil {
		parts = append(parts, "loss "+d.Loss.String())
	}
	if d.AfterCrack != nil {
		parts = append(parts, "first crack + "+d.AfterCrack.String())
	}
	parts = append(parts, "at the latest "+d.LatestS.String())
	text := strings.Join(parts, ", ")
	if d.Operator {
		return "by the operator; called at " + text
	}
	return text
}

package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"drumwright/control/drum"
	"drumwright/profiles"
)

// drumInputs is a drum with beans and a probe, as machine file, command line and
// custom give it.
type drumInputs struct {
	name   string
	setup  drum.Setup
	probe  drum.Probe
	stages []drum.Stage
}

// Uncertainties of figures that a machine file states without one. Lengths:
// a rule held by hand. Speed that nobody is known to have measured: as a plate with
// an unknown slip. Each is a judgement and can be given instead.
const (
	radiusU, lengthU, paddleU, shaftU = 1.0, 2.0, 1.0, 0.5
	plateShareU                       = 0.03
	batchShareU                       = 0.005
)

// drumInput is an input that the command line may set.
type drumInput struct {
	name, unit, words string
	at                func(*drumInputs) *drum.Figure
	exact             func(*drumInputs, float64) // for those that have no uncertainty
	value             func(*drumInputs) float64
}

var drumInputList = []drumInput{
	{name: "radius", unit: "mm", words: "inner radius of the drum", at: func(d *drumInputs) *drum.Figure { return &d.setup.RadiusMM }},
	{name: "length", unit: "mm", words: "inner length of the drum", at: func(d *drumInputs) *drum.Figure { return &d.setup.LengthMM }},
	{name: "constant", unit: "mm/s/Hz", words: "skin speed for each Hz of the drive", at: func(d *drumInputs) *drum.Figure { return &d.setup.SkinMMSPerHz }},
	{name: "paddles", unit: "", words: "paddles around the drum, 0 for a smooth one",
		exact: func(d *drumInputs, v float64) { d.setup.Paddles = int(v) }, value: func(d *drumInputs) float64 { return float64(d.setup.Paddles) }},
	{name: "paddle-height", unit: "mm", words: "height of the paddles above the wall", at: func(d *drumInputs) *drum.Figure { return &d.setup.PaddleMM }},
	{name: "shaft", unit: "mm", words: "diameter of the shaft, 0 for none", at: func(d *drumInputs) *drum.Figure { return &d.setup.ShaftMM }},
	{name: "batch", unit: "g", words: "green mass", at: func(d *drumInputs) *drum.Figure { return &d.setup.BatchG }},
	{name: "green-bulk", unit: "kg/m³", words: "bulk density of green beans, a litre jug", at: func(d *drumInputs) *drum.Figure { return &d.setup.GreenKgPerM3 }},
	{name: "roasted-bulk", unit: "kg/m³", words: "the same after 20 % loss", at: func(d *drumInputs) *drum.Figure { return &d.setup.RoastedKgPerM3 }},
	{name: "tilt", unit: "°", words: "slope of the turning bed", at: func(d *drumInputs) *drum.Figure { return &d.setup.TiltDeg }},
	{name: "friction", unit: "°", words: "friction angle of beans on steel", at: func(d *drumInputs) *drum.Figure { return &d.setup.FrictionDeg }},
	{name: "motor-base", unit: "Hz", words: "frequency on the motor's plate",
		exact: func(d *drumInputs, v float64) { d.setup.BaseHz = v }, value: func(d *drumInputs) float64 { return d.setup.BaseHz }},
	{name: "min", unit: "Hz", words: "lowest drive frequency",
		exact: func(d *drumInputs, v float64) { d.setup.MinHz = v }, value: func(d *drumInputs) float64 { return d.setup.MinHz }},
	{name: "max", unit: "Hz", words: "highest drive frequency",
		exact: func(d *drumInputs, v float64) { d.setup.MaxHz = v }, value: func(d *drumInputs) float64 { return d.setup.MaxHz }},
	{name: "sheath", unit: "mm", words: "diameter of the bean probe", at: func(d *drumInputs) *drum.Figure { return &d.probe.SheathMM }},
	{name: "immersed", unit: "mm", words: "length of the probe inside the drum", at: func(d *drumInputs) *drum.Figure { return &d.probe.ImmersedMM }},
	{name: "film", unit: "W/m²K", words: "heat exchange of the probe with the bed", at: func(d *drumInputs) *drum.Figure { return &d.probe.FilmWPerM2K }},
	{name: "face-difference", unit: "K", words: "face plate less beans", at: func(d *drumInputs) *drum.Figure { return &d.probe.FaceLessBedK }},
	{name: "gap", unit: "mm", words: "from the face plate to the paddles, 0 unknown",
		exact: func(d *drumInputs, v float64) { d.probe.GapMM = v }, value: func(d *drumInputs) float64 { return d.probe.GapMM }},
	{name: "rise", unit: "K/min", words: "rate of rise at which the probe's lag is stated",
		exact: func(d *drumInputs, v float64) { d.probe.RatePerMinK = v }, value: func(d *drumInputs) float64 { return d.probe.RatePerMinK }},
}

const custom = "common practice, no source"

// newDrumInputs starts from what is usual for beans and probe.
func newDrumInputs() *drumInputs {
	return &drumInputs{
		name: "drum",
		setup: drum.Setup{
			GreenKgPerM3:   drum.Figure{Value: 700, Uncertainty: 50, Method: custom + "; weigh a litre jug"},
			RoastedKgPerM3: drum.Figure{Value: 370, Uncertainty: 60, Method: custom + "; weigh a litre jug"},
			TiltDeg:        drum.Figure{Value: 40, Uncertainty: 5, Method: custom + "; look through the glass"},
			FrictionDeg:    drum.Figure{Value: 21, Uncertainty: 4, Method: "from memory; tilt a plate with beans until they slide"},
			BaseHz:         50, MinHz: 20, MaxHz: 70,
		},
		probe: drum.Probe{
			SheathMM:     drum.Figure{Value: 1.5, Method: "usual"},
			ImmersedMM:   drum.Figure{Value: 30, Uncertainty: 1, Method: "usual"},
			FilmWPerM2K:  drum.Figure{Value: drum.BedFilmWPerM2K, Uncertainty: 40, Method: "from memory; the warm test measures what follows from it"},
			FaceLessBedK: drum.Figure{Value: 30, Uncertainty: 15, Method: custom},
			RatePerMinK:  10,
		},
	}
}

// drumInputsFrom takes what a machine file says of the drum. An empty name is a
// drum without a file, of which --with must give the rest.
func drumInputsFrom(machine string, with, stages []string) (*drumInputs, error) {
	d := newDrumInputs()
	var m *profiles.Machine
	if machine != "" {
		var err error
		if m, err = machineFrom(machine); err != nil {
			return nil, err
		}
		d.fromMachine(m)
	}
	var errs []error
	for _, w := range with {
		errs = append(errs, d.set(w))
	}
	if err := errors.Join(errs...); err != nil {
		return nil, exitError{codeInput, err}
	}
	if m == nil {
		for _, i := range drumInputList[:3] {
			if i.at(d).Value == 0 {
				errs = append(errs, fmt.Errorf("without a machine file --with %s=... is needed: %s in %s", i.name, i.words, i.unit))
			}
		}
		if d.setup.BatchG.Value == 0 {
			errs = append(errs, errors.New("without a machine file --with batch=... is needed: green mass in g"))
		}
	}
	errs = append(errs, d.setStages(m, stages))
	if err := errors.Join(errs...); err != nil {
		return nil, exitError{codeInput, err}
	}
	if err := d.setup.Check(); err != nil {
		return nil, exitError{codeInput, err}
	}
	return d, nil
}

func (d *drumInputs) fromMachine(m *profiles.Machine) {
	file := "machine file"
	mm := func(v profiles.Metres, u float64) drum.Figure {
		if v == 0 {
			return drum.Figure{Method: "not in the machine file"}
		}
		return drum.Figure{Value: 1000 * float64(v), Uncertainty: u, Method: file}
	}
	s, k := &d.setup, m.SkinMMPerSPerHz()
	d.name = m.About.Name
	s.RadiusMM, s.LengthMM = mm(m.Drum.RadiusM, radiusU), mm(m.Drum.LengthM, lengthU)
	s.SkinMMSPerHz = drum.Figure{Value: k, Uncertainty: plateShareU * k, Method: "plates of motor and gear; measure it with a tachometer"}
	if m.Drum.MMPerSPerHz > 0 {
		s.SkinMMSPerHz.Method = file + ", no record of how; drumwright calibrate measures it"
	}
	if found := lastFound(m, itemDrum, played(m)); found != nil {
		if differs, _ := notHeld(m, found); differs == "" {
			s.SkinMMSPerHz.Uncertainty = math.Max(float64(found.Uncertainty), math.Abs(k-float64(found.Value)))
			s.SkinMMSPerHz.Method = fmt.Sprintf("%s, %s, %s", found.Method, found.Who, found.When.Local().Format(time.DateOnly))
		}
	}
	s.Paddles = m.Drum.Paddles
	s.PaddleMM, s.ShaftMM = mm(m.Drum.PaddleM, paddleU), mm(m.Drum.ShaftM, shaftU)
	g := 1000 * float64(m.Bed.NominalBatch)
	s.BatchG = drum.Figure{Value: g, Uncertainty: batchShareU * g, Method: file + ", nominal batch"}
	s.BaseHz, s.MinHz, s.MaxHz = float64(m.Drum.BaseHz), float64(m.Drum.MinHz), float64(m.Drum.MaxHz)
	d.probe.GapMM = 1000 * float64(m.Drum.PaddleGapM)
}

// set takes name=value or name=value±uncertainty; +- may stand for ±.
func (d *drumInputs) set(text string) error {
	name, rest, ok := strings.Cut(text, "=")
	i := slices.IndexFunc(drumInputList, func(i drumInput) bool { return i.name == strings.TrimSpace(name) })
	if !ok || i < 0 {
		var names []string
		for _, in := range drumInputList {
			names = append(names, in.name)
		}
		return fmt.Errorf("--with %q: write NAME=VALUE or NAME=VALUE±UNCERTAINTY, plain numbers; names are %s", text, strings.Join(names, ", "))
	}
	in := &drumInputList[i]
	value, unc, has := strings.Cut(strings.ReplaceAll(rest, "+-", "±"), "±")
	v, err := strconv.ParseFloat(strings.TrimSpace(value), 64)
	u := 0.0
	if err == nil && has {
		u, err = strconv.ParseFloat(strings.TrimSpace(unc), 64)
	}
	switch {
	case err != nil:
		return fmt.Errorf("--with %q: %w; %s is a number in %s", text, err, in.name, in.unit)
	case in.at == nil && has:
		return fmt.Errorf("--with %q: %s takes no uncertainty", text, in.name)
	case in.at == nil:
		in.exact(d, v)
	default:
		*in.at(d) = drum.Figure{Value: v, Uncertainty: u, Method: "command line"}
	}
	return nil
}

// setStages takes NAME=LOSS in percent, or the usual stages, and gives each the
// speed of the machine's schedule, or a first guess where there is none.
func (d *drumInputs) setStages(m *profiles.Machine, texts []string) error {
	d.stages = slices.Clone(drum.TradeStages)
	if len(texts) > 0 {
		d.stages = nil
	}
	for _, t := range texts {
		name, loss, ok := strings.Cut(t, "=")
		v, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(strings.TrimSpace(loss), "%")), 64)
		if !ok || err != nil || strings.TrimSpace(name) == "" || !(v >= 0 && v <= 30) {
			return fmt.Errorf("--stage %q: write NAME=LOSS, loss in percent from 0 to 30, such as \"first crack=6\"", t)
		}
		d.stages = append(d.stages, drum.Stage{Name: strings.TrimSpace(name), LossFrac: v / 100})
	}
	if len(d.stages) > 6 {
		return fmt.Errorf("%d stages, at most 6 are shown", len(d.stages))
	}
	for i := range d.stages {
		if i > 0 && d.stages[i].LossFrac <= d.stages[i-1].LossFrac {
			return fmt.Errorf("--stage %s: loss must rise from stage to stage", d.stages[i].Name)
		}
	}
	if m == nil {
		for i := range d.stages {
			d.stages[i].SkinMMS = drum.FirstGuess(d.setup.RadiusMM, d.stages[i].LossFrac)
		}
		return nil
	}
	pts := make([]drum.Point, len(m.Drum.Schedule))
	for i, p := range m.Drum.Schedule {
		pts[i] = drum.Point{LossFrac: float64(p.Loss), SkinMMS: float64(p.Speed)}
	}
	sched, err := drum.NewSchedule(pts)
	if err != nil {
		return err
	}
	for i := range d.stages {
		st := &d.stages[i]
		st.SkinMMS = drum.Figure{Value: sched.SkinMMS(st.LossFrac), Method: "machine file, schedule"}
		if last := pts[len(pts)-1].LossFrac; st.LossFrac > last {
			st.SkinMMS.Method = fmt.Sprintf("machine file, schedule; it ends at %.3g %% loss and is held from there", 100*last)
		}
	}
	return nil
}

// work works every stage out.
func (d *drumInputs) work() ([]*drum.StageResult, error) {
	var out []*drum.StageResult
	for _, st := range d.stages {
		r, err := d.setup.Work(st)
		if err != nil {
			return nil, exitError{codeInput, err}
		}
		out = append(out, r)
	}
	return out, nil
}

package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"drumwright/control/drum"
	"drumwright/io/drawing"
)

type drumOptions struct {
	with, stages, speeds []string
	asJSON, clockwise    bool
	svg                  string
}

// flags are those that drum, probe and trial share.
func (o *drumOptions) flags(c *cobra.Command) {
	var names strings.Builder
	for _, in := range drumInputList {
		fmt.Fprintf(&names, "\n  %-16s %-8s %s", in.name, in.unit, in.words)
	}
	c.Long += "\n\nInputs for --with:" + names.String()
	f := c.Flags()
	f.StringArrayVar(&o.with, "with", nil, "an input as NAME=VALUE or NAME=VALUE±UNCERTAINTY (or +-), may be repeated")
	f.StringArrayVar(&o.stages, "stage", nil, "a stage as NAME=LOSS in percent, may be repeated (default green=0, first crack=6, late first crack=12, end of second crack=20)")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object")
}

func drumCommand() *cobra.Command {
	var o drumOptions
	c := &cobra.Command{
		Use:   "drum [MACHINE]",
		Short: "Work out how the drum moves the beans at each stage: speeds, bed, throw, torque; draw it",
		Long: `drum works out, for each stage of a roast: skin speed, turns, drive frequency and
Froude number; how the bed moves and how far that is from the next motion; how
full and deep the bed is and how fast it turns over; where beans leave the paddles
and where they land; what torque the motor has left. Every figure comes with the
uncertainty that its inputs give it. With --svg it draws the drum to scale on one
page to hold beside the machine. It opens nothing but the machine file.

Without MACHINE give at least radius, length, constant and batch with --with; the
speeds are then a first guess.

Most laws here describe practice; bed figures are good to about 30 percent. The
glass decides, not this table: make the cold trial.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			name := ""
			if len(args) > 0 {
				name = args[0]
			}
			d, err := drumInputsFrom(name, o.with, o.stages)
			if err != nil {
				return err
			}
			return o.run(d, cmd.OutOrStdout())
		},
	}
	o.flags(c)
	c.Flags().StringArrayVar(&o.speeds, "speed", nil, "convert a speed: a number with mm/s, Hz, rpm or Fr, may be repeated")
	c.Flags().StringVar(&o.svg, "svg", "", "write the drawing to this file")
	c.Flags().BoolVar(&o.clockwise, "clockwise", false, "draw the drum as seen from the side from which it turns clockwise")
	return c
}

func (o *drumOptions) run(d *drumInputs, w io.Writer) error {
	stages, err := d.work()
	if err != nil {
		return err
	}
	limits, err := d.setup.SpeedLimits()
	if err != nil {
		return exitError{codeInput, err}
	}
	place, err := d.setup.Put(d.stages, d.probe)
	if err != nil {
		return exitError{codeInput, err}
	}
	speeds, err := o.convert(d)
	if err != nil {
		return exitError{codeInput, err}
	}
	if o.svg != "" {
		if err := writeSection(o.svg, d, stages, place, o.clockwise); err != nil {
			return err
		}
	}
	if o.asJSON {
		out := map[string]any{"machine": d.name, "inputs": d.inputsJSON(), "stages": stagesJSON(&d.setup, stages), "speed_limits": limits, "probe": place}
		if len(speeds) > 0 {
			out["speeds"] = speeds
		}
		return printJSON(w, out)
	}
	fmt.Fprintf(w, "%s: the drum and the beans in it\n\n", d.name)
	if err := d.printInputs(w, drumInputList[:14]); err != nil {
		return err
	}
	if err := printStages(w, &d.setup, stages); err != nil {
		return err
	}
	fmt.Fprintf(w, "\nSpeeds to use: %.0f mm/s (%s) to %.0f mm/s (%s).\n", limits.Low.SkinMMS, limits.Low.By, limits.High.SkinMMS, limits.High.By)
	fmt.Fprintf(w, "Bean probe: %s\n", placeText(place))
	for _, s := range speeds {
		fmt.Fprintf(w, "%s = %.1f mm/s = %.2f rpm = %.2f Hz = Froude %.3f, %s on a smooth wall\n", s.Asked, s.SkinMMS, s.RPM, s.Hz, s.Froude, s.Motion)
	}
	if o.svg != "" {
		fmt.Fprintf(w, "Drawing: %s\n", o.svg)
	}
	return nil
}

func writeSection(path string, d *drumInputs, stages []*drum.StageResult, place *drum.Placement, clockwise bool) error {
	svg, err := section(d, stages, place, clockwise)
	if err != nil {
		return err
	}
	return os.WriteFile(path, svg, 0o644)
}

// section is the drawing.
func section(d *drumInputs, stages []*drum.StageResult, place *drum.Placement, clockwise bool) ([]byte, error) {
	page := drawing.Page{Machine: d.name, Setup: &d.setup, Stages: stages, Place: place, Clockwise: clockwise}
	var guessed []string
	for _, in := range drumInputList {
		if in.at != nil && strings.Contains(in.at(d).Method, custom) {
			guessed = append(guessed, in.words)
		}
	}
	if len(guessed) > 0 {
		page.Foot = append(page.Foot, "Not measured, taken as usual: "+strings.Join(guessed, "; ")+".")
	}
	page.Foot = append(page.Foot, fmt.Sprintf("Skin speeds: %s. %s", stages[0].SkinMMS.Method, "Beans' paths are those of single beans without air or neighbours; a stream spreads about them."))
	return drawing.CrossSection(page)
}

// converted is a speed in all its units.
type converted struct {
	Asked   string      `json:"asked"`
	SkinMMS float64     `json:"skin_mm_per_s"`
	RPM     float64     `json:"rpm"`
	Hz      float64     `json:"hz"`
	Froude  float64     `json:"froude"`
	Motion  drum.Motion `json:"motion"`
}

func (o *drumOptions) convert(d *drumInputs) (out []converted, err error) {
	drive, err := drum.NewDrive(d.setup.RadiusMM.Value, d.setup.SkinMMSPerHz.Value)
	if err != nil {
		return nil, err
	}
	units := [...]struct {
		name   string
		toSkin func(float64) float64
	}{{"mm/s", func(v float64) float64 { return v }}, {"hz", drive.SkinFromHz}, {"rpm", drive.SkinFromRPM}, {"fr", drive.SkinFromFroude}}
	for _, text := range o.speeds {
		s := strings.TrimSpace(text)
		skin := math.NaN()
		for _, u := range units {
			if number, ok := strings.CutSuffix(strings.ToLower(s), u.name); ok {
				if v, err := strconv.ParseFloat(strings.TrimSpace(number), 64); err == nil && v > 0 && !math.IsInf(v, 1) {
					skin = u.toSkin(v)
				}
			}
		}
		if math.IsNaN(skin) {
			return nil, fmt.Errorf("--speed %q: write a number above 0 with mm/s, Hz, rpm or Fr", text)
		}
		fr := drive.Froude(skin)
		motion, _, _ := drum.MotionAt(fr)
		out = append(out, converted{s, skin, drive.RPMFromSkin(skin), drive.HzFromSkin(skin), fr, motion})
	}
	return out, nil
}

func (d *drumInputs) inputsJSON() map[string]any {
	out := map[string]any{}
	for _, in := range drumInputList {
		f := drum.Figure{}
		if in.at != nil {
			f = *in.at(d)
		} else {
			f.Value = in.value(d)
		}
		out[in.name] = jsonFigure{f, in.unit}
	}
	return out
}

// jsonFigure is a figure with its unit.
type jsonFigure struct {
	drum.Figure
	Unit string `json:"unit"`
}

func stagesJSON(setup *drum.Setup, stages []*drum.StageResult) (out []map[string]any) {
	for _, s := range stages {
		figures := map[string]jsonFigure{}
		for q := range drum.NumQuantities {
			if !setup.Shows(q) {
				continue
			}
			figures[q.Key()] = jsonFigure{s.Figures[q], q.Unit()}
		}
		x := map[string]any{"name": s.Name, "loss_frac": s.LossFrac, "figures": figures, "motion": s.Motion, "motion_from_mm_per_s": s.MotionMM[0], "remarks": s.Remarks}
		if setup.Paddles > 0 {
			x["last_bean"] = map[string]any{"leaves": s.Last.Leave, "lands": s.Last.Land, "on_bed": s.Last.OnBed}
			x["first_bean"] = map[string]any{"leaves": s.First.Leave, "lands": s.First.Land, "on_bed": s.First.OnBed}
		}
		if !math.IsInf(s.MotionMM[1].Value, 1) {
			x["motion_to_mm_per_s"] = s.MotionMM[1]
		}
		out = append(out, x)
	}
	return out
}

// figureText writes a figure with its uncertainty at the decimals of its kind.
func figureText(f drum.Figure, decimals int) string {
	if f.Uncertainty < 0.5*math.Pow(10, -float64(decimals)) {
		return fmt.Sprintf("%.*f", decimals, f.Value)
	}
	return fmt.Sprintf("%.*f ± %.*f", decimals, f.Value, decimals, f.Uncertainty)
}

func (d *drumInputs) printInputs(w io.Writer, list []drumInput) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "input\tvalue\tunit\twhat\tfrom")
	for _, in := range list {
		f := drum.Figure{}
		if in.at != nil {
			f = *in.at(d)
		} else {
			f.Value = in.value(d)
		}
		text := strconv.FormatFloat(f.Value, 'g', 5, 64)
		if f.Uncertainty > 0 {
			text += " ± " + strconv.FormatFloat(f.Uncertainty, 'g', 2, 64)
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", in.name, text, in.unit, in.words, f.Method)
	}
	return t.Flush()
}

func printStages(w io.Writer, setup *drum.Setup, stages []*drum.StageResult) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprint(t, "\n")
	for _, s := range stages {
		fmt.Fprintf(t, "\t%s", s.Name)
	}
	fmt.Fprint(t, "\nmass lost, %")
	for _, s := range stages {
		fmt.Fprintf(t, "\t%.3g", 100*s.LossFrac)
	}
	for q := range drum.NumQuantities {
		if !setup.Shows(q) {
			continue
		}
		unit := ""
		if q.Unit() != "" {
			unit = ", " + q.Unit()
		}
		fmt.Fprintf(t, "\n%s%s", q.Words(), unit)
		for _, s := range stages {
			fmt.Fprintf(t, "\t%s", figureText(s.Figures[q], q.Decimals()))
		}
	}
	fmt.Fprint(t, "\nmotion on a smooth wall")
	for _, s := range stages {
		fmt.Fprintf(t, "\t%s", s.Motion)
	}
	fmt.Fprint(t, "\nwhich holds, mm/s")
	for _, s := range stages {
		if math.IsInf(s.MotionMM[1].Value, 1) {
			fmt.Fprintf(t, "\tfrom %.0f", s.MotionMM[0].Value)
			continue
		}
		fmt.Fprintf(t, "\tfrom %.0f to %.0f", s.MotionMM[0].Value, s.MotionMM[1].Value)
	}
	fmt.Fprintln(t)
	if err := t.Flush(); err != nil {
		return err
	}
	for i, s := range stages {
		if i == 0 || s.SkinMMS.Method != stages[i-1].SkinMMS.Method {
			fmt.Fprintf(w, "Skin speeds from %s: %s\n", s.Name, s.SkinMMS.Method)
		}
	}
	// A remark that holds for every stage is said once.
	said := map[string][]string{}
	var order []string
	for _, s := range stages {
		for _, r := range s.Remarks {
			if said[r] == nil {
				order = append(order, r)
			}
			said[r] = append(said[r], s.Name)
		}
	}
	for _, r := range order {
		who := strings.Join(said[r], ", ")
		if len(said[r]) == len(stages) && len(stages) > 1 {
			who = "every stage"
		}
		fmt.Fprintf(w, "  ! %s: %s\n", who, r)
	}
	return nil
}

// placeText is a probe's place in one line.
func placeText(p *drum.Placement) string {
	text := fmt.Sprintf("%.0f mm from the wall, %.0f° from the bottom towards the rising side", p.Best.WallMM, p.Best.AngleDeg)
	if !p.Possible {
		text += "; NOT safely covered: " + p.Remarks[0]
	}
	return text
}

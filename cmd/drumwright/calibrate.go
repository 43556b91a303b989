package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/wiring"
	"drumwright/control/calibrate"
	"drumwright/io/journal"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/profiles"
)

type calibrateOptions struct {
	who, method        string
	ice, boil          []float64
	pressure, altitude float64
	at, turns, read    []string
	heaterFlags
	days, putOff     int
	why              string
	accept, simulate bool
}

// calibrationDays is for how long a calibration counts (common practice, no
// source): half a year for probes, a year for what wears slowly.
func calibrationDays(item string) int {
	if _, ok := point.InputNamed(item); ok {
		return 180
	}
	return 365
}

// What can be calibrated beside probes.
const (
	itemDrum    = "drum"
	itemFlow    = "flow"
	itemAir     = "air_heater"
	itemRadiant = "radiant"
)

func calibrateCommand() *cobra.Command {
	var o calibrateOptions
	c := &cobra.Command{
		Use:   "calibrate MACHINE ITEM",
		Short: "Turn comparisons with a reference into figures of the machine file, with their uncertainty",
		Long: `calibrate takes what you have measured, works out the figure and its uncertainty,
keeps both in the machine's journal with your name, the method and the day until
which it counts, and proposes the change of the machine file. A finding counts only
while the machine file holds it, within its uncertainty; without a measurement
calibrate proposes the change that the last one asks for once more. ITEM is

  a probe, such as bean  --read ice, --read boil with --pressure hPa (at the place,
                         not reduced to sea level) or --altitude M, and --read
                         REFERENCE±U beside a better thermometer: it is read in each,
                         with the daemon stopped. Readings taken otherwise are given
                         as --ice READING, --boil READING, --at READING=REFERENCE±U
  drum                   --at HZ=SPEED±U in mm/s by tachometer, or
                         --turns HZ=TURNS/SECONDS, at two frequencies or more
  flow                   --at HZ=FLOW±U in kg/h, rising, at two or more
  air_heater, radiant    --volts V±U with --amps A±U, or with --meter WH±U/SECONDS, at
                         full power; the air heater also with --air KG/H±U,
                         --rise K±U and --duty PERCENT, once all stands still

A calibration that is overdue keeps beans out, 30 days after the day until which it
counts. --put-off DAYS --why REASON lets it wait, in your name.

Readings are repeated: give --read ice and --read boil several times. ± covers about 95 %;
+- will do for ±. Nothing is written into the machine file before you say yes.`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return o.run(cmd.Context(), args[0], args[1], cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
	f := c.Flags()
	f.StringVar(&o.who, "who", "", "your name, kept with the record")
	f.StringVar(&o.method, "method", "", "how it was measured and with what, kept with the record; default from the flags")
	f.StringArrayVar(&o.read, "read", nil, "read the probe in a bath: ice, boil, or the reference's °C±U; may be repeated")
	f.Float64SliceVar(&o.ice, "ice", nil, "reading in stirred melting ice, °C, may be repeated")
	f.Float64SliceVar(&o.boil, "boil", nil, "reading in boiling water, °C, may be repeated")
	f.Float64Var(&o.pressure, "pressure", 0, "air pressure at the place, hPa")
	f.Float64Var(&o.altitude, "altitude", math.NaN(), "altitude of the place, m; less sure than the pressure")
	f.StringArrayVar(&o.at, "at", nil, "READING=REFERENCE±U, may be repeated")
	f.StringArrayVar(&o.turns, "turns", nil, "HZ=TURNS/SECONDS of the drum, may be repeated")
	f.StringVar(&o.amps, "amps", "", "current at full power, A±U")
	f.StringVar(&o.meter, "meter", "", "energy that a meter counted at full power, WH±U/SECONDS")
	f.StringVar(&o.air, "air", "", "air mass flow, kg/h±U")
	f.StringVar(&o.rise, "rise", "", "with --air: by how much the air is warmer behind the heater than before it, K±U")
	f.Float64Var(&o.duty, "duty", 0, "with --air: share of power meanwhile, percent")
	f.StringVar(&o.volts, "volts", "", "voltage at the heater meanwhile, V±U")
	f.IntVar(&o.days, "days", 0, "for how many days it counts; default 180 for probes, 365 otherwise")
	f.IntVar(&o.putOff, "put-off", 0, "instead of measuring: let an overdue calibration wait so many days, up to 30, for the reason given with --why")
	f.StringVar(&o.why, "why", "", "with --put-off: the reason, kept with your name")
	f.BoolVar(&o.accept, "accept", false, "write the proposed change into the machine file without asking")
	f.BoolVar(&o.simulate, "simulated", false, "mark the record as made on a simulated machine")
	return c
}

// calibrated is a calibration worked out.
type calibrated struct {
	value, u     float64
	unit, method string
	text         string
	probe        *probeLine
	flow         []flowPoint
}

func (o *calibrateOptions) run(ctx context.Context, name, item string, in io.Reader, w io.Writer) error {
	if o.days < 0 {
		return exitError{codeInput, fmt.Errorf("--days is %d, allowed is 0 or more", o.days)}
	}
	m, err := machineFrom(name)
	if err != nil {
		return err
	}
	p := newTerminal(in, w)
	if !o.measures() && o.putOff == 0 && o.why == "" {
		if last := lastFound(m, item, o.simulate || played(m)); last != nil {
			return o.propose(ctx, m, last, &p)
		}
	}
	if strings.TrimSpace(o.who) == "" {
		return exitError{codeInput, errors.New("--who is missing: a calibration is made by a named person")}
	}
	if o.putOff != 0 || o.why != "" {
		return o.wait(m, item, w)
	}
	if len(o.read) > 0 {
		if err := o.readBaths(ctx, m, item, &p); err != nil {
			return err
		}
	}
	c, err := o.workOut(m, item)
	if err != nil {
		return exitError{codeInput, err}
	}
	if o.method != "" {
		c.method = o.method
	}
	days := o.days
	if days == 0 {
		days = calibrationDays(item)
	}
	body, err := json.Marshal(finding{IceC: o.ice, BoilC: o.boil, PressureHPa: o.pressure, At: o.at, Turns: o.turns, Amps: o.amps, Meter: o.meter, Air: o.air, Rise: o.rise, Duty: o.duty, Volts: o.volts,
		Found: c.text, Probe: c.probe, Flow: c.flow})
	if err != nil {
		return err
	}
	kept := record.Commissioned{Kind: record.KindCalibration, Item: item, Who: o.who, When: time.Now(), Method: c.method, Value: record.Number(c.value), Uncertainty: record.Number(c.u),
		Unit: c.unit, ValidDays: days, Result: record.ProofPass, Wiring: wiring.Hash(m), Body: string(body), MachineHash: m.Hash, Version: versionText(), Simulated: o.simulate || played(m)}
	if err := keepCommissioned(m.Telemetry.Journal, []record.Commissioned{kept}); err != nil {
		return err
	}
	fmt.Fprintln(w, c.text)
	until, _ := kept.Until()
	printWrapped(w, "", fmt.Sprintf("Method: %s. Kept in %s, counts until %s.", c.method, m.Telemetry.Journal, until.Format(time.DateOnly)))
	return o.propose(ctx, m, &kept, &p)
}

// measures reports whether a measurement was given.
func (o *calibrateOptions) measures() bool {
	return len(o.read)+len(o.ice)+len(o.boil)+len(o.at)+len(o.turns) > 0 || o.heaterFlags != heaterFlags{}
}

// lastFound is the last calibration of an item that the journal keeps, nil for none.
func lastFound(m *profiles.Machine, item string, simulated bool) *record.Commissioned {
	kept, _ := fromJournal(m, (*journal.Reader).Commissioned)
	items := commissionState(m, kept, simulated, time.Now())
	for k := range items {
		if items[k].name == item && items[k].kind == record.KindCalibration {
			return items[k].last
		}
	}
	return nil
}

// propose says what the machine file needs so that it holds what was found, and
// writes it there if the person wants it.
func (o *calibrateOptions) propose(ctx context.Context, m *profiles.Machine, c *record.Commissioned, p *terminal) error {
	differs, edits := notHeld(m, c)
	if differs == "" {
		p.say("The machine file holds it and needs no change.")
		return nil
	}
	p.say("%s", wrapped("", upperFirst(differs)+"."))
	if len(edits) == 0 {
		return nil
	}
	p.say("\nFor the machine file:")
	for _, e := range edits {
		p.say("  %s: %s", e.Path, e.Value)
		for _, l := range e.Lines {
			p.say("    %s", l)
		}
	}
	return keepEdits(ctx, m, edits, o.accept, p)
}

func (o *calibrateOptions) workOut(m *profiles.Machine, item string) (*calibrated, error) {
	switch item {
	case itemDrum:
		return o.drum(m)
	case itemFlow:
		return o.flow(m)
	case itemAir, itemRadiant:
		return o.heater(m, item)
	}
	i, ok := point.InputNamed(item)
	if !ok || i.Role().Kind != point.Temperature || !m.HasIn[i] {
		return nil, fmt.Errorf("item %q: it is neither a probe of this machine nor drum, flow, air_heater or radiant", item)
	}
	return o.probe(m, i)
}

// Uncertainties of the fixed points as a shop can make them, K (common practice,
// no source): stirred melting ice of clean water, and the middle of boiling water.
const iceU, boilU = 0.2, 0.3

func (o *calibrateOptions) probe(m *profiles.Machine, i point.Input) (*calibrated, error) {
	var points []calibrate.Point
	var methods []string
	for _, r := range o.ice {
		points = append(points, calibrate.Point{Read: r, True: 0, U: together(iceU, len(o.ice))})
	}
	if len(o.ice) > 0 {
		methods = append(methods, "melting ice")
	}
	if len(o.boil) > 0 {
		hPa, pressureU := o.pressure, 1.0
		if hPa == 0 {
			if math.IsNaN(o.altitude) {
				return nil, errors.New("--boil needs --pressure or --altitude: water boils 1 K lower for every 300 m")
			}
			var err error
			if hPa, err = calibrate.PressureHPa(o.altitude); err != nil {
				return nil, err
			}
			pressureU = calibrate.WeatherHPa
		}
		c, err := calibrate.BoilingC(hPa)
		if err != nil {
			return nil, err
		}
		hotter, err := calibrate.BoilingC(math.Min(1100, hPa+pressureU))
		if err != nil {
			return nil, err
		}
		for _, r := range o.boil {
			points = append(points, calibrate.Point{Read: r, True: c, U: together(math.Hypot(boilU, hotter-c), len(o.boil))})
		}
		methods = append(methods, fmt.Sprintf("boiling water, %.2f °C at %.0f hPa", c, hPa))
	}
	for _, text := range o.at {
		p, err := comparison(text)
		if err != nil {
			return nil, err
		}
		points = append(points, p)
	}
	if len(o.at) > 0 {
		methods = append(methods, "beside a reference")
	}
	l, err := calibrate.FitLine(points)
	if err != nil {
		return nil, fmt.Errorf("%w: give --read, --ice, --boil or --at", err)
	}
	const useC = 200.0 // where a roast is decided
	at200, u := l.At(useC)
	low, lowU := l.At(20)
	c := &calibrated{value: at200 - useC, u: u, unit: "K", method: strings.Join(methods, ", ")}
	c.text = fmt.Sprintf("%s: true = %.5g × reading %+.3g °C (gain ± %.2g, offset ± %.2g K).\nCorrection at a reading of 20 °C: %+.2f ± %.2f K; of 200 °C: %+.2f ± %.2f K.",
		i, l.Gain, l.Offset, l.GainU, l.OffsetU, low-20, lowU, at200-useC, u)
	if l.GainU == 0 {
		c.text += "\nThe gain is taken as right: one temperature cannot show it."
	}
	if l.WorstU > 1.5 {
		c.text += fmt.Sprintf("\nOne comparison is off by %.1f times what it should be at most: look at it again.", l.WorstU)
	}
	file := lineOf(m, i)
	c.probe = &probeLine{Scale: l.Gain * file.Scale, OffsetC: l.Gain*file.OffsetC + l.Offset, U20K: lowU, U200K: u}
	return c, nil
}

// together makes n repeats of one comparison weigh as one: they share their
// reference.
func together(u float64, n int) float64 { return u * math.Sqrt(float64(n)) }

func figure6(v float64) string { return strconv.FormatFloat(v, 'g', 6, 64) }

const numeral = `([-+]?[0-9]+(?:[.,][0-9]+)?)`

var (
	comparisonText = regexp.MustCompile(`^\s*` + numeral + `\s*=\s*` + numeral + `\s*(?:±|\+-|\+/-)\s*` + numeral + `\s*$`)
	measuredText   = regexp.MustCompile(`^\s*` + numeral + `\s*(?:±|\+-|\+/-)\s*` + numeral + `\s*$`)
	turnsText      = regexp.MustCompile(`^\s*` + numeral + `\s*=\s*` + numeral + `\s*/\s*` + numeral + `\s*$`)
)

func number(s string) float64 {
	v, err := strconv.ParseFloat(strings.ReplaceAll(s, ",", "."), 64)
	if err != nil {
		return math.NaN()
	}
	return v
}

func comparison(text string) (calibrate.Point, error) {
	s := comparisonText.FindStringSubmatch(text)
	if s == nil {
		return calibrate.Point{}, fmt.Errorf("--at %q: write READING=REFERENCE±U, such as 150.2=151.0±0.5", text)
	}
	p := calibrate.Point{Read: number(s[1]), True: number(s[2]), U: number(s[3])}
	if !(p.U > 0) {
		return p, fmt.Errorf("--at %q: the uncertainty must be above 0", text)
	}
	return p, nil
}

func measured(flag, text string) (calibrate.Point, error) {
	s := measuredText.FindStringSubmatch(text)
	if s == nil {
		return calibrate.Point{}, fmt.Errorf("%s %q: write VALUE±U, such as 17.4±0.2", flag, text)
	}
	p := calibrate.Point{True: number(s[1]), U: number(s[2])}
	if !(p.True > 0 && p.U > 0) {
		return p, fmt.Errorf("%s %q: value and uncertainty must be above 0", flag, text)
	}
	return p, nil
}

// keepCommissioned adds findings to a machine's journal, also while its daemon
// writes there; one that is not there yet is made.
func keepCommissioned(path string, list []record.Commissioned) error {
	if _, err := os.Stat(path); errors.Is(err, os.ErrNotExist) {
		keep, err := journal.Open(path, journal.Config{Version: versionText()})
		if err != nil {
			return err
		}
		if err := keep.Close(); err != nil {
			return err
		}
	}
	return journal.AddCommissioned(path, list)
}

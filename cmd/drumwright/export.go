package main

import (
	"context"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"drumwright/io/journal"
	"drumwright/io/point"
	"drumwright/io/record"
)

type exportOptions struct {
	journal, what, format string
	from, to              string
	batch                 uint64
	columns               bool
}

func exportCommand() *cobra.Command {
	var o exportOptions
	c := &cobra.Command{
		Use:   "export",
		Short: "Write batches or samples as CSV or JSON for other programs",
		Long: `export writes what the journal keeps to standard output, oldest first: --what
batches, a row each, or samples, a row a second of each batch. --columns explains
every column with its unit. JSON is one object a line. What is not known is empty
in CSV and null in JSON, never 0. For SQLite take a file made by the command
backup: it is a database with the same names.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return export(cmd.Context(), &o, cmd.OutOrStdout()) },
	}
	f := c.Flags()
	f.StringVar(&o.journal, "journal", "drumwright.db", "journal file")
	f.StringVar(&o.what, "what", "batches", "batches or samples")
	f.StringVar(&o.format, "format", "csv", "csv or json")
	f.StringVar(&o.from, "from", "", "charged on this day or later, such as 2026-11-25")
	f.StringVar(&o.to, "to", "", "charged on this day or earlier")
	f.Uint64Var(&o.batch, "batch", 0, "this batch only")
	f.BoolVar(&o.columns, "columns", false, "explain the columns and end")
	return c
}

// exportColumn is one column of an export.
type exportColumn[T any] struct {
	name, means string
	of          func(*T) any // record.Number, string, uint64, int or bool
}

var batchExport = []exportColumn[record.KeptBatch]{
	{"batch", "number of the batch", func(k *record.KeptBatch) any { return k.ID }},
	{"charged", "when the beans went in, UTC", func(k *record.KeptBatch) any { return k.Charged }},
	{"ended", "UTC", func(k *record.KeptBatch) any { return k.Ended }},
	{"result", "open, done or aborted", func(k *record.KeptBatch) any { return k.Result }},
	{"recipe", "name of the recipe", func(k *record.KeptBatch) any { return k.Recipe }},
	{"recipe_hash", "SHA-256 of the recipe file", func(k *record.KeptBatch) any { return k.RecipeHash }},
	{"machine_hash", "SHA-256 of the machine file with the device maps it uses", func(k *record.KeptBatch) any { return k.MachineHash }},
	{"lot", "green coffee, as entered", func(k *record.KeptBatch) any { return k.Lot }},
	{"moisture_pct", "of the green coffee, % of its mass", func(k *record.KeptBatch) any { return k.MoisturePct }},
	{"density_g_per_l", "of the green coffee, bulk, g/l", func(k *record.KeptBatch) any { return k.DensityGPerL }},
	{"green_kg", "kg, by the recipe", func(k *record.KeptBatch) any { return k.GreenKg }},
	{"weighed_green_kg", "kg, by the scale", func(k *record.KeptBatch) any { return k.WeighedGreenKg }},
	{"weighed_kg", "roasted, kg, by the scale", func(k *record.KeptBatch) any { return k.WeighedKg }},
	{"weighed_loss", "share of green mass, by the scale", func(k *record.KeptBatch) any { return k.WeighedLoss }},
	{"loss_at_drop", "share of green mass, estimated", func(k *record.KeptBatch) any { return k.LossAtDrop }},
	{"estimated_kg", "roasted, kg, an estimate: green mass less loss_at_drop; use it where weighed_kg is empty", func(k *record.KeptBatch) any { return k.EstimatedKg() }},
	{"turn_s", "turning point, s since charge", func(k *record.KeptBatch) any { return k.TurnS }},
	{"turn_c", "turning point, °C", func(k *record.KeptBatch) any { return k.TurnC }},
	{"first_crack_s", "heard, s since charge", func(k *record.KeptBatch) any { return k.FirstCrackS }},
	{"drop_s", "s since charge", func(k *record.KeptBatch) any { return k.DropS }},
	{"drop_c", "bean probe at drop, °C", func(k *record.KeptBatch) any { return k.DropC }},
	{"target_drop_c", "drop temperature of the recipe, °C", func(k *record.KeptBatch) any { return k.TargetDropC }},
	{"development_s", "first crack to drop, s", func(k *record.KeptBatch) any { return k.DevelopmentS }},
	{"development_ratio", "the same as a share of the roast", func(k *record.KeptBatch) any { return k.DevelopmentRatio }},
	{"energy_kwh", "both heaters, charge to drop, kWh", func(k *record.KeptBatch) any { return k.EnergyKWh }},
	{"off_curve_rms_c", "probe against the curve, root mean square, from 60 s after the turning point to the drop, °C", func(k *record.KeptBatch) any { return k.OffCurveRmsC }},
	{"off_curve_most_c", "the most in the same time, °C", func(k *record.KeptBatch) any { return k.OffCurveMostC }},
	{"cup_total", "of 100", func(k *record.KeptBatch) any { return k.CupTotal }},
	{"tags", "by spaces", func(k *record.KeptBatch) any { return strings.Join(k.Tags, " ") }},
	{"notes", "how many there are", func(k *record.KeptBatch) any { return k.Notes }},
}

// batchSample is a sample and the batch that it belongs to.
type batchSample struct {
	batch uint64
	*record.KeptSample
}

var sampleExport = func() []exportColumn[batchSample] {
	type n = record.Number
	number := func(name, means string, of func(k *batchSample) n) exportColumn[batchSample] {
		return exportColumn[batchSample]{name, means, func(k *batchSample) any { return of(k) }}
	}
	cols := []exportColumn[batchSample]{
		{"batch", "number of the batch", func(k *batchSample) any { return k.batch }},
		{"time", "UTC", func(k *batchSample) any { return k.Time }},
		number("since_charge_s", "s", func(k *batchSample) n { return k.SinceChargeS }),
		{"state", "of the batch sequence", func(k *batchSample) any { return k.State }},
		{"stage", "of the recipe, from 0", func(k *batchSample) any { return k.Stage }},
		{"heat_permitted", "by the interlocks", func(k *batchSample) any { return k.HeatPermitted }},
		number("target_c", "wanted bean probe temperature, °C", func(k *batchSample) n { return k.TargetC }),
		number("true_c", "beans, estimated, °C", func(k *batchSample) n { return k.TrueC }),
		number("true_sd_c", "its standard deviation, °C", func(k *batchSample) n { return k.TrueSdC }),
		number("rate_k_per_s", "rate of rise, estimated, K/s", func(k *batchSample) n { return k.RateKPerS }),
		number("moisture_dry_basis", "kg water per kg dry, estimated", func(k *batchSample) n { return k.MoistureDB }),
		number("loss", "estimated, share of green mass", func(k *batchSample) n { return k.Loss }),
		number("air_set_c", "inlet air, set, °C", func(k *batchSample) n { return k.AirSetC }),
		number("air_duty", "air heater, asked share of rated power", func(k *batchSample) n { return k.AirDuty }),
		number("air_permit", "air heater, what the interlocks let through", func(k *batchSample) n { return k.AirPermit }),
		number("base_set_c", "drum skin, set, °C", func(k *batchSample) n { return k.BaseSetC }),
		number("base_duty", "radiant panels, asked share of rated power", func(k *batchSample) n { return k.BaseDuty }),
		number("base_permit", "radiant panels, what the interlocks let through", func(k *batchSample) n { return k.BasePermit }),
		number("drum_mm_per_s", "drum skin speed, mm/s", func(k *batchSample) n { return k.DrumMMPerS }),
		number("flow_kg_per_h", "air flow, kg/h", func(k *batchSample) n { return k.FlowKgPerH }),
	}
	for i := range point.NumInputs {
		if i.Role().Kind != point.Temperature {
			continue
		}
		name := i.String()
		cols = append(cols, number(name+"_c", i.Role().About+", °C; empty while not usable", func(k *batchSample) n {
			if v, ok := k.Temperatures[name]; ok {
				return v.Value
			}
			return record.Unknown
		}))
	}
	return cols
}()

func export(ctx context.Context, o *exportOptions, w io.Writer) error {
	if o.columns {
		explain(w, "batches", batchExport)
		fmt.Fprintln(w)
		explain(w, "samples", sampleExport)
		return nil
	}
	if o.what != "batches" && o.what != "samples" || o.format != "csv" && o.format != "json" {
		return exitError{codeInput, errors.New("--what is batches or samples, --format csv or json")}
	}
	want := record.Search{}
	var err error
	if want.From, want.To, err = dayRange(o.from, o.to); err != nil {
		return err
	}
	r, err := journal.OpenReader(o.journal)
	if err != nil {
		return err
	}
	defer r.Close()
	list, err := r.Batches(ctx, want)
	if err != nil {
		return err
	}
	slices.Reverse(list)
	if o.batch != 0 {
		list = slices.DeleteFunc(list, func(k record.KeptBatch) bool { return k.ID != o.batch })
		if len(list) == 0 {
			return fmt.Errorf("batch %d: %w", o.batch, record.ErrNoBatch)
		}
	}
	if o.what == "batches" {
		out := newTable(w, o.format, batchExport)
		for i := range list {
			if err := out.row(&list[i]); err != nil {
				return err
			}
		}
		return out.end()
	}
	out := newTable(w, o.format, sampleExport)
	for i := range list {
		d, err := r.Batch(ctx, list[i].ID)
		if err != nil {
			return err
		}
		for j := range d.Samples {
			if err := out.row(&batchSample{d.ID, &d.Samples[j]}); err != nil {
				return err
			}
		}
	}
	return out.end()
}

func explain[T any](w io.Writer, what string, columns []exportColumn[T]) {
	fmt.Fprintf(w, "Columns of %s:\n", what)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, c := range columns {
		fmt.Fprintf(t, "  %s\t%s\n", c.name, c.means)
	}
	t.Flush()
}

// table writes rows of an export.
type table[T any] struct {
	w       io.Writer
	csv     *csv.Writer // nil = JSON
	columns []exportColumn[T]
}

func newTable[T any](w io.Writer, format string, columns []exportColumn[T]) *table[T] {
	t := &table[T]{w: w, columns: columns}
	if format == "csv" {
		t.csv = csv.NewWriter(w)
		head := make([]string, len(columns))
		for i, c := range columns {
			head[i] = c.name
		}
		t.csv.Write(head) // end tells
	}
	return t
}

func (t *table[T]) row(of *T) error {
	if t.csv == nil {
		var b strings.Builder
		for i, c := range t.columns {
			v, err := json.Marshal(c.of(of))
			if err != nil {
				return err
			}
			fmt.Fprintf(&b, `%s"%s":%s`, map[bool]string{true: "{", false: ","}[i == 0], c.name, v)
		}
		_, err := fmt.Fprintln(t.w, b.String()+"}")
		return err
	}
	cells := make([]string, len(t.columns))
	for i, c := range t.columns {
		switch v := c.of(of).(type) {
		case record.Number:
			if v.Known() {
				cells[i] = strconv.FormatFloat(math.Round(float64(v)*1e6)/1e6, 'f', -1, 64) // as in JSON
			}
		case string:
			cells[i] = harmless(v)
		default:
			cells[i] = fmt.Sprint(v)
		}
	}
	return t.csv.Write(cells)
}

// harmless keeps a spreadsheet from taking a text that somebody entered for a
// formula (OWASP, CSV injection; from memory).
func harmless(s string) string {
	if s != "" && strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return "'" + s
	}
	return s
}

func (t *table[T]) end() error {
	if t.csv == nil {
		return nil
	}
	t.csv.Flush()
	return t.csv.Error()
}

package main

import (
	"context"
	"fmt"
	"io"
	"strconv"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/journal"
	"drumwright/io/record"
)

type batchesOptions struct {
	journal  string
	from, to string
	want     record.Search
	asJSON   bool
	who      string
	away     bool
}

func batchesCommand() *cobra.Command {
	var o batchesOptions
	c := &cobra.Command{
		Use:   "batches",
		Short: "List and search the kept batches; enter lots, notes, tags and cup scores",
		Long: `batches lists the batches of a journal, newest first, as far as all conditions are
met. --text looks into recipe, lot, tags, notes and comments. Its subcommands show
one batch and enter what people know of it. What is entered is never overwritten:
a correction is kept beside what it corrects, with name and time. The daemon may
be running meanwhile or not.

Loss is by the scale where the batch was weighed (command weigh), else estimated,
marked ~.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return listBatches(cmd.Context(), &o, cmd.OutOrStdout())
		},
	}
	c.PersistentFlags().StringVar(&o.journal, "journal", "drumwright.db", "journal file")
	c.PersistentFlags().BoolVar(&o.asJSON, "json", false, "print JSON on standard output")
	f := c.Flags()
	f.StringVar(&o.from, "from", "", "charged on this day or later, such as 2026-11-25")
	f.StringVar(&o.to, "to", "", "charged on this day or earlier")
	f.StringVar(&o.want.Recipe, "recipe", "", "name of the recipe")
	f.StringVar(&o.want.Lot, "lot", "", "name of the green coffee")
	f.StringVar(&o.want.Tag, "tag", "", "tag")
	f.StringVar(&o.want.Text, "text", "", "any part of recipe, lot, tag, note or comment")
	f.StringVar(&o.want.Result, "result", "", "open, done or aborted")
	f.IntVar(&o.want.Limit, "limit", 30, "at most so many; 0 = all")

	show := &cobra.Command{Use: "show BATCH", Short: "Show one batch, its events and everything that was entered", Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			return showBatch(cmd.Context(), &o, args[0], cmd.OutOrStdout())
		}}
	note := &cobra.Command{Use: "note BATCH TEXT", Short: "Add a note", Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			return enterBatch(&o, args[0], []record.Entry{{Field: record.FieldNote, After: args[1]}}, cmd.OutOrStdout())
		}}
	tag := &cobra.Command{Use: "tag BATCH TAG...", Short: "Put tags on a batch, or take them off", Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			var list []record.Entry
			for _, t := range args[1:] {
				e := record.Entry{Field: record.FieldTag, Item: t, After: "yes"}
				if o.away {
					e.After = ""
				}
				list = append(list, e)
			}
			return enterBatch(&o, args[0], list, cmd.OutOrStdout())
		}}
	tag.Flags().BoolVar(&o.away, "off", false, "take the tags off")
	set := &cobra.Command{Use: "set BATCH FIELD=VALUE...", Short: "Enter or correct any field",
		Long: `set enters fields of a batch, all or none. An empty value takes one back.
Fields: ` + strings.Join(record.Fields(), ", ") + `.
A field with several items names the item after a dot: cup.aroma=8.25,
note.2="corrected". Items of cup: ` + strings.Join(record.CupItems, ", ") + `.`,
		Args: cobra.MinimumNArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			var list []record.Entry
			for _, a := range args[1:] {
				name, value, ok := strings.Cut(a, "=")
				if !ok {
					return exitError{codeInput, fmt.Errorf("%q: write FIELD=VALUE, such as lot=\"Gesha 12\"", a)}
				}
				field, item, _ := strings.Cut(name, ".")
				list = append(list, record.Entry{Field: field, Item: item, After: value})
			}
			return enterBatch(&o, args[0], list, cmd.OutOrStdout())
		}}
	for _, sub := range []*cobra.Command{note, tag, set} {
		sub.Flags().StringVar(&o.who, "who", "", "your name, kept with what you enter")
	}
	c.AddCommand(show, note, tag, set)
	return c
}

// dayRange reads days of this computer's zone; to is the end of its day.
func dayRange(from, to string) (a, b time.Time, err error) {
	day := func(s string) (time.Time, error) {
		if s == "" {
			return time.Time{}, nil
		}
		t, err := time.ParseInLocation(time.DateOnly, s, time.Local)
		if err != nil {
			err = exitError{codeInput, fmt.Errorf("%q is no day: write it as 2026-11-25", s)}
		}
		return t, err
	}
	if a, err = day(from); err != nil {
		return a, b, err
	}
	if b, err = day(to); err == nil && !b.IsZero() {
		b = b.AddDate(0, 0, 1)
	}
	return a, b, err
}

func batchNumber(s string) (uint64, error) {
	id, err := strconv.ParseUint(s, 10, 64)
	if err != nil || id == 0 {
		return 0, exitError{codeInput, fmt.Errorf("%q is not the number of a batch: give one from the list, such as 12", s)}
	}
	return id, nil
}

func listBatches(ctx context.Context, o *batchesOptions, w io.Writer) (err error) {
	if o.want.From, o.want.To, err = dayRange(o.from, o.to); err != nil {
		return err
	}
	r, err := journal.OpenReader(o.journal)
	if err != nil {
		return err
	}
	defer r.Close()
	list, err := r.Batches(ctx, o.want)
	if err != nil {
		return err
	}
	if o.asJSON {
		return printJSON(w, map[string]any{"batches": list})
	}
	if len(list) == 0 {
		fmt.Fprintln(w, "No batch is like that.")
		return nil
	}
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "batch\tcharged\trecipe\tlot\tgreen kg\troasted kg\tloss\tdrop\tresult\ttags")
	for i := range list {
		k := &list[i]
		fmt.Fprintf(t, "%d\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\t%s\n", k.ID, localTime(k.Charged), k.Recipe, short(orDash(k.Lot), 24), num(k.ChargedKg(), 2), num(k.WeighedKg, 3),
			lossText(k), num(k.DropC, 1)+" °C "+clockText(k.DropS), k.Result, strings.Join(k.Tags, " "))
	}
	return t.Flush()
}

// lossText is the loss in percent, marked where it is an estimate.
func lossText(k *record.KeptBatch) string {
	v, weighed := k.LossShare()
	if !v.Known() {
		return "–"
	}
	mark := "~"
	if weighed {
		mark = ""
	}
	return fmt.Sprintf("%s%.1f %%", mark, 100*float64(v))
}

func num(v record.Number, decimals int) string {
	if !v.Known() {
		return "–"
	}
	return strconv.FormatFloat(float64(v), 'f', decimals, 64)
}

func clockText(s record.Number) string {
	if !s.Known() {
		return "–"
	}
	return minutes(float64(s))
}

func orDash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

func short(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

// localTime writes a time of the journal in this computer's zone.
func localTime(s string) string {
	t, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return orDash(s)
	}
	return t.Local().Format("2006-01-02 15:04")
}

func showBatch(ctx context.Context, o *batchesOptions, arg string, w io.Writer) error {
	id, err := batchNumber(arg)
	if err != nil {
		return err
	}
	r, err := journal.OpenReader(o.journal)
	if err != nil {
		return err
	}
	defer r.Close()
	d, err := r.Batch(ctx, id)
	if err != nil {
		return fmt.Errorf("batch %d: %w", id, err)
	}
	if o.asJSON {
		return printJSON(w, d)
	}
	fmt.Fprintf(w, "Batch %d, %s, recipe %s, charged %s\n\n", d.ID, d.Result, d.Recipe, localTime(d.Charged))
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, row := range [][2]string{{"lot", orDash(d.Lot)}, {"moisture", num(d.MoisturePct, 1) + " %"}, {"density", num(d.DensityGPerL, 0) + " g/l"},
		{"green", num(d.ChargedKg(), 3) + " kg"}, {"roasted", num(d.WeighedKg, 3) + " kg"}, {"loss", lossText(&d.KeptBatch)},
		{"turn", clockText(d.TurnS) + ", " + num(d.TurnC, 1) + " °C"}, {"first crack", clockText(d.FirstCrackS)},
		{"drop", clockText(d.DropS) + ", " + num(d.DropC, 1) + " °C"}, {"after first crack", clockText(d.DevelopmentS) + ", " + num(100*d.DevelopmentRatio, 1) + " %"},
		{"off the curve", num(d.OffCurveRmsC, 2) + " °C rms, " + num(d.OffCurveMostC, 1) + " °C most"}, {"heat", num(d.EnergyKWh, 2) + " kWh"},
		{"cup", num(d.CupTotal, 2)}, {"tags", orDash(strings.Join(d.Tags, " "))}} {
		fmt.Fprintf(t, "%s\t%s\n", row[0], row[1])
	}
	if err := t.Flush(); err != nil {
		return err
	}
	if len(d.Entries) > 0 {
		fmt.Fprintln(w, "\nEntered:")
		for _, e := range d.Entries {
			name := strings.TrimSuffix(e.Field+" "+e.Item, " ")
			was := ""
			if e.Before != "" {
				was = fmt.Sprintf(" (before: %s)", e.Before)
			}
			fmt.Fprintf(w, "  %s  %s: %s = %s%s\n", e.When.Local().Format("2006-01-02 15:04"), e.Who, name, orDash(e.After), was)
		}
	}
	if len(d.Events) > 0 {
		fmt.Fprintln(w, "\nEvents:")
		for _, e := range d.Events {
			fmt.Fprintf(w, "  %s  %-10s %s\n", localTime(e.Time), e.Kind, strings.TrimSpace(e.Name+": "+e.Text))
		}
	}
	return nil
}

func enterBatch(o *batchesOptions, arg string, list []record.Entry, w io.Writer) error {
	id, err := batchNumber(arg)
	if err != nil {
		return err
	}
	if strings.TrimSpace(o.who) == "" {
		return exitError{codeInput, fmt.Errorf("--who is missing: what is entered carries a name")}
	}
	now := time.Now()
	for i := range list {
		list[i].Batch, list[i].Who, list[i].When = id, o.who, now
		if err := list[i].Check(); err != nil {
			return exitError{codeInput, err}
		}
	}
	kept, err := journal.Enter(o.journal, list)
	if err != nil {
		return err
	}
	if o.asJSON {
		return printJSON(w, map[string]any{"entries": kept})
	}
	for _, e := range kept {
		name := strings.TrimSuffix(e.Field+" "+e.Item, " ")
		switch {
		case e.Before == "":
			fmt.Fprintf(w, "Batch %d: %s is %s.\n", id, name, e.After)
		default:
			fmt.Fprintf(w, "Batch %d: %s is %s; before: %s. Both are kept.\n", id, name, orDash(e.After), e.Before)
		}
	}
	return nil
}

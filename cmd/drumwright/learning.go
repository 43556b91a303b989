package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/url"
	"slices"
	"strconv"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"drumwright/control/learn"
	"drumwright/io/record"
)

const whoUsage = "your name, for the history"

func learningCommand() *cobra.Command {
	address := ""
	asJSON := false
	c := &cobra.Command{
		Use:   "learning [SCOPE NAME]",
		Short: "Show what batches have taught; freeze, reset or undo it",
		Long: `learning shows what the running daemon has learned from batches: of each recipe how
to keep to its curve, of each coffee its kinetics, moisture and first crack, of
the machine the lag of its bean probe. With SCOPE (recipe, coffee or machine) and
NAME it shows how that came to be.

What is frozen is used but not changed by batches any more. Nothing is ever
deleted: undo goes back by one step, also after a reset.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 0 && len(args) != 2 {
				return errors.New("give nothing, or SCOPE and NAME")
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			return showLearning(cmd.Context(), address, args, asJSON, cmd.OutOrStdout())
		},
	}
	c.PersistentFlags().StringVar(&address, "address", "127.0.0.1:8420", "of the daemon: HOST:PORT, or the path of its socket")
	c.Flags().BoolVar(&asJSON, "json", false, "print the answer of the daemon as JSON")
	for _, x := range []struct{ do, short string }{
		{record.LessonFreeze, "Use what is learned, and let batches change nothing of it"},
		{record.LessonThaw, "Let batches change it again"},
		{record.LessonReset, "Begin anew, as if no batch had taught anything"},
		{record.LessonUndo, "Go back to what was learned one step before"},
	} {
		who := ""
		sub := &cobra.Command{Use: x.do + " SCOPE NAME", Short: x.short, Args: cobra.ExactArgs(2),
			RunE: func(cmd *cobra.Command, args []string) error {
				d, err := dialDaemon(address)
				if err != nil {
					return err
				}
				var l record.Lesson
				body := map[string]string{"scope": args[0], "name": args[1], "do": x.do, "who": who}
				if err := d.post(cmd.Context(), "/api/v1/learning", body, &l); err != nil {
					return err
				}
				fmt.Fprintf(cmd.OutOrStdout(), "%s %q: %s\n", l.Scope, l.Name, lessonText(&l))
				return nil
			}}
		sub.Flags().StringVar(&who, "who", "", whoUsage)
		if err := sub.MarkFlagRequired("who"); err != nil {
			panic(err) // the flag is defined on the line above
		}
		c.AddCommand(sub)
	}
	return c
}

func showLearning(ctx context.Context, address string, args []string, asJSON bool, out io.Writer) error {
	d, err := dialDaemon(address)
	if err != nil {
		return err
	}
	path := "/api/v1/learning"
	if len(args) == 2 {
		path += "?" + url.Values{"scope": {args[0]}, "name": {args[1]}}.Encode()
	}
	if asJSON {
		text, err := d.raw(ctx, path)
		if err == nil {
			_, err = out.Write(text)
		}
		return err
	}
	var book record.LessonBook
	if err := d.get(ctx, path, &book); err != nil {
		return err
	}
	list := book.Lessons
	if len(args) == 2 {
		list = book.History
	}
	if len(list) == 0 {
		fmt.Fprintln(out, "Nothing is learned yet: roast a batch, note first crack, weigh it.")
		return nil
	}
	t := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "scope\tname\tby\twhen\tlearned")
	for i := range list {
		l := &list[i]
		by := l.Why
		if l.Batch > 0 {
			by += " " + strconv.FormatUint(l.Batch, 10)
		}
		if l.Who != "" {
			by += ", " + l.Who
		}
		fmt.Fprintf(t, "%s\t%s\t%s\t%s\t%s\n", l.Scope, l.Name, by, l.When.Local().Format("2006-01-02 15:04"), lessonText(l))
	}
	return t.Flush()
}

// lessonText says in words what is learned.
func lessonText(l *record.Lesson) string {
	text := "nothing"
	switch l.Scope {
	case record.LessonRecipe:
		var p learn.Path
		if json.Unmarshal(l.Value, &p) == nil && p.Batches > 0 {
			text = fmt.Sprintf("%d batches", p.Batches)
			if n := len(p.Kept); n > 0 {
				k := p.Kept[n-1]
				text += fmt.Sprintf("; batch %d was %.2f °C off its curve (rms), %.2f by itself", k.Batch, k.RmsC, k.WithoutC)
				if k.TookBack {
					text += "; lesson taken back"
				}
			}
			if len(p.RateKPerS) > 0 {
				text += fmt.Sprintf("; corrects up to %.2f K/min", 60*max(slices.Max(p.RateKPerS), -slices.Min(p.RateKPerS)))
			}
		}
	case record.LessonCoffee:
		var c learn.Coffee
		if json.Unmarshal(l.Value, &c) == nil && (c.Weighed > 0 || len(c.CrackC) > 0) {
			text = fmt.Sprintf("%d weighed: dry loss × %.2f, drying × %.2f, green moisture %+.1f points", c.Weighed, c.DryLossBy(), c.DryingBy(), 100*c.MoistureAdd)
			if n := len(c.CrackC); n > 0 {
				text += fmt.Sprintf("; first crack heard %d times, last at %.1f °C", n, c.CrackC[n-1])
			}
		}
	case record.LessonMachine:
		var m learn.Machine
		if json.Unmarshal(l.Value, &m) == nil && m.Batches > 0 {
			text = fmt.Sprintf("%d batches; the bean probe lags %+.0f %% from the machine file", m.Batches, 100*m.LagFrac())
		}
	}
	if l.Frozen {
		text += " (frozen)"
	}
	return text
}

func weighCommand() *cobra.Command {
	address, who := "", ""
	greenG := 0.0
	c := &cobra.Command{
		Use:   "weigh BATCH ROASTED_G",
		Short: "Say what a batch weighed after the roast",
		Long: `weigh keeps the weight of a roasted batch in the journal and corrects by it what is
known of its coffee, so that the next estimate of its loss is closer. Weigh all of
the batch, cool, without chaff. A weight may be given anew; the last one counts.`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			id, err := batchNumber(args[0])
			if err != nil {
				return err
			}
			g, err := strconv.ParseFloat(args[1], 64)
			if err != nil {
				return exitError{codeInput, fmt.Errorf("%q is no weight: give grams of roasted beans, such as 846", args[1])}
			}
			d, err := dialDaemon(address)
			if err != nil {
				return err
			}
			body := map[string]any{"roasted_g": g, "who": who}
			if greenG != 0 {
				body["green_g"] = greenG
			}
			var w record.Weighing
			if err := d.post(cmd.Context(), fmt.Sprintf("/api/v1/batches/%d/weight", id), body, &w); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "batch %d lost %.1f %%, estimated %.1f %%: %s\n", id, 100*w.Loss, 100*float64(w.Estimated), w.Taught)
			return nil
		},
	}
	f := c.Flags()
	f.StringVar(&address, "address", "127.0.0.1:8420", "of the daemon: HOST:PORT, or the path of its socket")
	f.Float64Var(&greenG, "green", 0, "green weight in g; 0 = as the recipe says")
	f.StringVar(&who, "who", "", whoUsage)
	return c
}

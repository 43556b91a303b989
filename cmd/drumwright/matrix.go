package main

import (
	"encoding/csv"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/point"
	"drumwright/profiles"
	"drumwright/safety"
)

func matrixCommand() *cobra.Command {
	format, date := "text", ""
	c := &cobra.Command{
		Use:   "matrix MACHINE",
		Short: "Print the cause-and-effect matrix of a machine",
		Long: `matrix prints every cause that the interlocks know: when it is looked at, its
threshold and delay, the safe state it leads to, what that does to each output,
and how it is reset. Then: which causes are not watched on this machine, which
are excepted for a while, and which safe state wins when several are asked for.
It opens nothing but the machine file. Thresholds are those at nominal speed,
air and demand.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := machineFrom(args[0])
			if err != nil {
				return err
			}
			if date == "" {
				date = time.Now().Format(time.DateOnly)
			} else if _, err := time.Parse(time.DateOnly, date); err != nil {
				return exitError{codeInput, fmt.Errorf("matrix: --date is %q, which is no day: write it as 2026-08-01", date)}
			}
			x := newMatrix(m, date)
			switch w := cmd.OutOrStdout(); format {
			case "text":
				return x.text(w)
			case "markdown":
				return x.markdown(w)
			case "csv":
				return x.csv(w)
			}
			return exitError{codeInput, fmt.Errorf("matrix: --format is %q, allowed are text, markdown and csv", format)}
		},
	}
	c.Flags().StringVar(&format, "format", format, "text, markdown or csv")
	c.Flags().StringVar(&date, "date", date, "day for which exceptions are looked up, such as 2026-08-01 (default today)")
	return c
}

// matrix is a machine's matrix to be printed.
type matrix struct {
	m       *profiles.Machine
	lines   []safety.Line
	outputs []point.Output
}

func newMatrix(m *profiles.Machine, date string) *matrix {
	x := &matrix{m: m, lines: safety.Matrix(m, date)}
	for o := range point.NumOutputs {
		if m.HasOut[o] && o != point.Heartbeat {
			x.outputs = append(x.outputs, o)
		}
	}
	return x
}

func (x *matrix) header() []string {
	h := []string{"cause", "state", "looked at", "threshold", "after", "reset", "priority"}
	for _, o := range x.outputs {
		h = append(h, o.String())
	}
	return h
}

func (x *matrix) cells(l *safety.Line) []string {
	kind := l.Kind()
	if l.Exception != "" {
		kind = "excepted"
	}
	c := []string{l.ID, kind, l.Arm.String(), dash(l.Threshold), fmt.Sprintf("%.3g s", l.AfterS), l.Class.String(), l.Priority.String()}
	for _, o := range x.outputs {
		c = append(c, dash(l.Effect(o)))
	}
	return c
}

func dash(s string) string {
	if s == "" {
		return "–"
	}
	return s
}

// watched are the lines that the machine has the points for.
func (x *matrix) watched() []*safety.Line {
	var out []*safety.Line
	for i := range x.lines {
		if len(x.lines[i].Lacks) == 0 {
			out = append(out, &x.lines[i])
		}
	}
	return out
}

// remarks are the sections below the matrix.
func (x *matrix) remarks(title func(string), item func(string), meanings bool) {
	if meanings {
		title("What they mean")
		for _, l := range x.watched() {
			item(l.ID + ": " + l.Cause + " " + l.Consequence + " " + l.Action)
		}
	}
	title("Not watched on this machine")
	n := 0
	for _, l := range safety.Uncovered(x.m) {
		item(l)
		n++
	}
	if n == 0 {
		item("Nothing: there is a point for every cause.")
	}
	title("Exceptions")
	n = 0
	for i := range x.lines {
		if l := &x.lines[i]; l.Exception != "" {
			item(l.ID + " " + l.Exception)
			n++
		}
	}
	if n == 0 {
		item("None.")
	}
	title("When several are asked for, the first of these wins")
	for _, s := range safety.Ranking() {
		item(s.Code() + " " + s.Name() + ": " + s.Tell())
	}
}

// text is the matrix for a terminal: causes by what they do, each effect said
// once, in the order of the table.
func (x *matrix) text(w io.Writer) error {
	say := func(indent, s string) { printWrapped(w, indent, s) }
	fmt.Fprintf(w, "Cause and effect on %s\n", x.m.About.Name)
	groups, order := make(map[string][]*safety.Line), []string{}
	for _, l := range x.watched() {
		head := x.cells(l)[1] + "\n" + x.effects(l)
		if groups[head] == nil {
			order = append(order, head)
		}
		groups[head] = append(groups[head], l)
	}
	for _, head := range order {
		kind, effects, _ := strings.Cut(head, "\n")
		fmt.Fprintf(w, "\n%s\n", kind)
		say("  ", effects)
		for _, l := range groups[head] {
			c := x.cells(l)
			fmt.Fprintln(w)
			say("  ", fmt.Sprintf("%s: looked at %s; threshold %s; after %s; reset %s; priority %s.", c[0], c[2], c[3], c[4], c[5], c[6]))
			say("    ", l.Cause+" "+l.Consequence+" "+l.Action)
		}
	}
	x.remarks(func(s string) { fmt.Fprintf(w, "\n%s\n", s) }, func(s string) { say("  ", s) }, false)
	return nil
}

// effects says what a cause does to the outputs: those that share an effect
// together.
func (x *matrix) effects(l *safety.Line) string {
	by, order := make(map[string][]string), []string{}
	for _, o := range x.outputs {
		e := l.Effect(o)
		if e == "" {
			e = "as wished"
		}
		if by[e] == nil {
			order = append(order, e)
		}
		by[e] = append(by[e], o.String())
	}
	parts := make([]string, len(order))
	for i, e := range order {
		parts[i] = strings.Join(by[e], ", ") + ": " + e
	}
	return strings.Join(parts, "; ") + "."
}

func (x *matrix) markdown(w io.Writer) error {
	row := func(cells []string) { fmt.Fprintf(w, "| %s |\n", strings.Join(cells, " | ")) }
	fmt.Fprintf(w, "# Cause and effect on %s\n\n", x.m.About.Name)
	h := x.header()
	row(h)
	row(strings.Split(strings.Repeat("---,", len(h)-1)+"---", ","))
	for _, l := range x.watched() {
		row(x.cells(l))
	}
	x.remarks(func(s string) { fmt.Fprintf(w, "\n## %s\n\n", s) }, func(s string) { fmt.Fprintf(w, "- %s\n", s) }, true)
	return nil
}

func (x *matrix) csv(w io.Writer) error {
	c := csv.NewWriter(w)
	rows := [][]string{append(x.header(), "not watched for want of", "exception", "meaning", "consequence", "action")}
	for i := range x.lines {
		l := &x.lines[i]
		rows = append(rows, append(x.cells(l), strings.Join(l.Lacks, " and "), l.Exception, l.Cause, l.Consequence, l.Action))
	}
	return c.WriteAll(rows)
}

package main

import (
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"strconv"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/replay"
	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/io/tape"
	"drumwright/profiles"
)

type replayOptions struct {
	journal, with, csv string
	asJSON             bool
}

func replayCommand() *cobra.Command {
	var o replayOptions
	c := &cobra.Command{
		Use:   "replay BATCH",
		Short: "Decide a recorded batch once more and compare, bit by bit",
		Long: `replay runs the control core again on all that it was given in a batch of the
journal: inputs, commands, times, recipe, machine file and what the controller
remembered a minute or more before the charge. It proves that every decision is
the same to the bit, or shows the first that is not, and then fails. The journal
keeps the tapes of the last 200 batches; one that was recorded by another version
may have to be replayed by that. Kinds of processors round differently in the last
digit: a batch of a board is held to the bit on a board of its kind, elsewhere to a
millionth.

--with MACHINE shows instead what the gains and limits of another machine file
would have decided on the same inputs. How the machine would have answered nobody
knows: for that see demo and assess.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			id, err := batchNumber(args[0])
			if err != nil {
				return err
			}
			return runReplay(cmd.Context(), &o, id, cmd.OutOrStdout())
		},
	}
	f := c.Flags()
	f.StringVar(&o.journal, "journal", "drumwright.db", "journal file")
	f.StringVar(&o.with, "with", "", "machine file whose decisions are to be shown; empty = as it was")
	f.StringVar(&o.csv, "csv", "", "write recorded and replayed outputs of every scan into this file")
	f.BoolVar(&o.asJSON, "json", false, "print one JSON object on standard output")
	return c
}

// replayResult is what --json prints.
type replayResult struct {
	Batch  uint64 `json:"batch"`
	Recipe string `json:"recipe"`
	With   string `json:"with,omitempty"`
	*replay.Result
	TapeBytes int     `json:"tape_bytes"`
	WallS     float64 `json:"wall_s"`
}

func runReplay(ctx context.Context, o *replayOptions, id uint64, stdout io.Writer) error {
	var with *profiles.Machine
	if o.with != "" {
		var err error
		if with, err = machineFrom(o.with); err != nil {
			return err
		}
	}
	r, err := journal.OpenReader(o.journal)
	if err != nil {
		return err
	}
	defer r.Close()
	out := replayResult{Batch: id, With: o.with}
	b, err := recordedBatch(ctx, r, id, &out)
	if err != nil {
		return err
	}
	var each replay.Each
	finish := func() error { return nil }
	if o.csv != "" {
		if each, finish, err = scansTo(o.csv); err != nil {
			return err
		}
	}
	begin := time.Now()
	if with != nil {
		out.Result, err = replay.With(b, with, each)
	} else {
		out.Result, err = replay.Prove(b, each)
	}
	if err = errors.Join(err, finish()); err != nil {
		return fmt.Errorf("batch %d: %w", id, err)
	}
	out.WallS = time.Since(begin).Seconds()
	if o.asJSON {
		err = printJSON(stdout, out)
	} else {
		err = printReplay(stdout, &out)
	}
	if err == nil && with == nil && !out.Equal {
		err = exitError{codeFailed, fmt.Errorf("batch %d is not decided as it was: %s at scan %d", id, out.First.Field, out.First.Scan)}
	}
	return err
}

// recordedBatch reads a batch with all that belongs to it.
func recordedBatch(ctx context.Context, r *journal.Reader, id uint64, out *replayResult) (*replay.Batch, error) {
	kept, err := r.Batch(ctx, id)
	if err != nil {
		return nil, fmt.Errorf("batch %d: %w", id, err)
	}
	out.Recipe = kept.Recipe
	chunks, err := r.Tape(ctx, id)
	if err != nil {
		return nil, fmt.Errorf("batch %d: %w", id, err)
	}
	if len(chunks) == 0 {
		return nil, fmt.Errorf("batch %d has no tape: it is older than the last 200, or older than tapes are", id)
	}
	for i := range chunks {
		out.TapeBytes += len(chunks[i].Data)
	}
	b := &replay.Batch{Here: versionText()}
	if b.Segments, err = tape.Segments(chunks); err != nil {
		return nil, fmt.Errorf("batch %d: %w", id, err)
	}
	if b.Machine, err = profiles.ParseMachine("machine.yaml as kept", []byte(kept.MachineText)); err != nil {
		return nil, fmt.Errorf("batch %d: the machine file that was kept: %w", id, err)
	}
	known := map[string]*profiles.Recipe{}
	b.Recipes = func(hash string) (*profiles.Recipe, error) {
		if known[hash] != nil {
			return known[hash], nil
		}
		text, err := r.Text(ctx, hash)
		if err == nil && text == "" {
			err = fmt.Errorf("a recipe of this batch was not kept (%.12s)", hash)
		}
		if err != nil {
			return nil, err
		}
		known[hash], err = profiles.ParseRecipe("recipe as kept", []byte(text))
		return known[hash], err
	}
	return b, nil
}

// scansTo writes the outputs of every scan as comma-separated values (RFC 4180).
func scansTo(path string) (replay.Each, func() error, error) {
	f, err := os.Create(path)
	if err != nil {
		return nil, nil, fmt.Errorf("outputs of the scans: %w", err)
	}
	w := csv.NewWriter(f)
	columns := []struct {
		name string
		of   func(*record.Scan) float64
	}{
		{"air_set_c", func(s *record.Scan) float64 { return s.Air.SetC }}, {"air_duty", func(s *record.Scan) float64 { return s.Air.Duty }},
		{"base_set_c", func(s *record.Scan) float64 { return s.Base.SetC }}, {"base_duty", func(s *record.Scan) float64 { return s.Base.Duty }},
		{"drum_set_mm_per_s", func(s *record.Scan) float64 { return s.Drum.SetMMPerS }}, {"flow_set_kg_per_h", func(s *record.Scan) float64 { return s.Drum.FlowSetKgPerH }},
		{"loss", func(s *record.Scan) float64 { return s.Bean.Loss }},
	}
	head := []string{"scan", "scan_s", "since_charge_s", "state", "state_replayed"}
	for _, c := range columns {
		head = append(head, c.name, c.name+"_replayed")
	}
	w.Write(head) // errors stay until Flush
	num := func(v float64) string { return strconv.FormatFloat(v, 'g', -1, 64) }
	each := func(a, b *record.Scan) {
		row := []string{strconv.FormatUint(a.N, 10), num(a.ScanS), num(a.Batch.SinceS), a.State, b.State}
		for _, c := range columns {
			row = append(row, num(c.of(a)), num(c.of(b)))
		}
		w.Write(row)
	}
	return each, func() error { w.Flush(); return errors.Join(w.Error(), f.Close()) }, nil
}

func printReplay(w io.Writer, r *replayResult) error {
	fmt.Fprintf(w, "Batch %d, %s: %d scans, %.0f s, replayed in %.1f s (%.0f × real time); tape %.0f kB.\n",
		r.Batch, r.Recipe, r.Scans, r.ToS-r.FromS, r.WallS, (r.ToS-r.FromS)/r.WallS, float64(r.TapeBytes)/1000)
	if r.Cut {
		fmt.Fprintln(w, "Pieces of the tape are missing: what they held is not replayed.")
	}
	if r.Rounding > 0 {
		fmt.Fprintf(w, "Recorded by %s, on another kind of processor than this one. Such round differently in the last digit, so decisions count as the same within %g of their size.\n", r.Program, r.Rounding)
	}
	if r.Equal && r.Rounding > 0 {
		fmt.Fprintf(w, "Every decision is the same; the furthest number is %.1g of its size apart. Whether it is so to the bit shows only on a computer of the kind that recorded it.\n", r.Apart)
		return nil
	}
	if r.Equal {
		fmt.Fprintln(w, "Every decision is the same to the bit.")
		return nil
	}
	d := r.First
	if r.Rounding > 0 && r.With == "" {
		fmt.Fprintf(w, "%d scans are the same so; the furthest number was %.1g of its size apart. What follows may be rounding too, where a value stood just at a threshold: a computer of the kind that recorded it knows.\n", r.Scans-1, r.Apart)
	}
	fmt.Fprintf(w, "First difference at scan %d, %.1f s since charge, while %s: %s was %s, is %s.\n", d.Scan, d.SinceS, d.State, d.Field, d.Recorded, d.Replayed)
	if len(r.Fields) == 0 {
		return nil
	}
	fmt.Fprintf(w, "\nWhat %s would have decided, less what was decided, on the same inputs:\n\n", r.With)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', tabwriter.AlignRight)
	fmt.Fprintln(t, "rms\tmost\tat s\tfirst s\tscans\t  ")
	for _, f := range r.Fields {
		fmt.Fprintf(t, "%.4g\t%+.4g\t%.1f\t%.1f\t%d\t  %s\n", f.Rms, f.Max, f.MaxAtS, f.FirstS, f.Scans, f.Name)
	}
	return t.Flush()
}

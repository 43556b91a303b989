package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/record"
)

type proveOptions struct {
	address  string
	list     bool
	who      string
	simulate string
	recipe   string
	seed     uint64
	asJSON   bool
	journal  string
	broken   []string // faults of the simulated machine, for tests

	pollEvery time.Duration
	watchFor  time.Duration
}

func proveCommand() *cobra.Command {
	o := proveOptions{pollEvery: 40 * time.Millisecond, watchFor: 10 * time.Minute}
	c := &cobra.Command{
		Use:   "prove [TEST...]",
		Short: "Prove that the interlocks act: list what is due, lead through the tests, keep the results",
		Long: `prove leads a person at the machine through the proof tests of the interlocks,
one by one: what to do, what must follow, what was seen. It speaks to the daemon
that runs the machine, which keeps every result. Without TEST all that are due
are done; with --list they are only listed. The drum must be empty.

What it measures is taken from the daemon's scans: from the first scan whose
inputs show the fault to the first that permits no heat and reads the contactor
open. A switch that opens late, or a contactor without a contact, is not in it.

With --simulate MACHINE the tests are played on the simulated machine, without a
person, and judged by what really happened there: heat off within the limit, and
no heat after the reset.`,
		Args: cobra.ArbitraryArgs,
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case o.simulate != "":
				return proveSimulated(cmd.Context(), o.simulate, args, &o, cmd.OutOrStdout())
			case o.asJSON && !o.list:
				return exitError{codeInput, errors.New("--json goes with --list or --simulate")}
			case o.journal != "":
				return exitError{codeInput, errors.New("--journal goes with --simulate; at a machine the daemon keeps the results")}
			}
			d, err := dialDaemon(o.address)
			if err != nil {
				return err
			}
			if o.list {
				return listProofs(cmd.Context(), d, o.asJSON, cmd.OutOrStdout())
			}
			if strings.TrimSpace(o.who) == "" {
				return exitError{codeInput, errors.New("--who is missing: a proof test is made by a named person")}
			}
			return newProver(d, &o, cmd.InOrStdin(), cmd.OutOrStdout()).run(cmd.Context(), args)
		},
	}
	f := c.Flags()
	f.StringVar(&o.address, "address", "127.0.0.1:8420", "of the daemon: HOST:PORT, or the path of its socket")
	f.BoolVar(&o.list, "list", false, "list the tests and what is due, then end")
	f.StringVar(&o.who, "who", "", "your name, kept with the results")
	f.StringVar(&o.simulate, "simulate", "", "play the tests on this simulated machine: a file or the name of a shipped machine")
	f.StringVar(&o.recipe, "recipe", "", "with --simulate: recipe to warm with; default a shipped one that fits")
	f.Uint64Var(&o.seed, "seed", 1, "with --simulate: seed of the noise")
	f.BoolVar(&o.asJSON, "json", false, "with --list or --simulate: print one JSON object")
	f.StringVar(&o.journal, "journal", "", "with --simulate: keep the results in this journal, marked as simulated")
	return c
}

// chosenTests picks tests by id, all when none is named.
func chosenTests(all []record.ProofTest, ids []string) ([]record.ProofTest, error) {
	if len(ids) == 0 {
		return all, nil
	}
	var known []string
	for i := range all {
		known = append(known, all[i].ID)
	}
	for _, id := range ids {
		if !slices.Contains(known, id) {
			return nil, exitError{codeInput, fmt.Errorf("there is no proof test %q; there are %s", id, strings.Join(known, ", "))}
		}
	}
	return slices.DeleteFunc(slices.Clone(all), func(t record.ProofTest) bool { return !slices.Contains(ids, t.ID) }), nil
}

func listProofs(ctx context.Context, d *localAPI, asJSON bool, w io.Writer) error {
	var book record.ProofBook
	if asJSON {
		body, err := d.raw(ctx, "/api/v1/proofs")
		if err != nil {
			return err
		}
		_, err = w.Write(body)
		return err
	}
	if err := d.get(ctx, "/api/v1/proofs", &book); err != nil {
		return err
	}
	for _, g := range standingGroups {
		head := g.head
		for i := range book.Tests {
			if s := &book.Tests[i]; s.State == g.state {
				if head != "" {
					fmt.Fprintln(w, head)
					head = ""
				}
				printStanding(w, s)
			}
		}
		if head == "" {
			fmt.Fprintln(w)
		}
	}
	for _, why := range book.Blocking {
		printWrapped(w, "", "No new roast may start: "+why+".")
	}
	return nil
}

// standingGroups are the states in the order of what is to be done about them.
var standingGroups = [...]struct{ state, head string }{
	{record.ProofFailed, "Failed: put it right and repeat it"},
	{record.ProofOverdue, "Overdue: no new roast before it is done"},
	{record.ProofDue, "Due"},
	{record.ProofNever, "Never done"},
	{record.ProofOK, "In order"},
	{record.ProofImpossible, "Not possible on this machine"},
}

func printStanding(w io.Writer, s *record.ProofStanding) {
	what := s.Title + ", " + s.Occasion
	if len(s.Lacking) > 0 {
		what += "; for want of " + strings.Join(s.Lacking, " and ")
	}
	if s.Last != nil {
		what += "; last " + s.Last.When.Local().Format(time.DateOnly) + " by " + s.Last.Who
	}
	if s.DueAt != nil {
		what += "; due " + s.DueAt.Local().Format(time.DateOnly)
	}
	if s.Remark != "" {
		what += "; " + s.Remark
	}
	printWrapped(w, fmt.Sprintf("  %-17s ", s.ID), what)
}

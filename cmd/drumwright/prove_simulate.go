package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"drumwright/cmd/drumwright/internal/rehearsal"
	"drumwright/io/journal"
	"drumwright/io/record"
	"drumwright/profiles"
	"drumwright/safety/proof"
)

// simulatedProof is one line of the table.
type simulatedProof struct {
	Test       string        `json:"test"`
	Expected   string        `json:"expected"`
	Seen       string        `json:"seen"`
	MeasuredS  record.Number `json:"measured_s"`
	FromFaultS record.Number `json:"from_fault_s"`
	LimitS     record.Number `json:"limit_s"`
	Verdict    string        `json:"verdict"` // pass, fail, not possible, not simulated
}

// proveSimulated plays the tests on the simulated machine; every test that it
// can show must pass.
func proveSimulated(ctx context.Context, name string, ids []string, o *proveOptions, stdout io.Writer) error {
	m, err := machineFrom(name)
	if err != nil {
		return err
	}
	r, err := warmingRecipe(o.recipe, m)
	if err != nil {
		return err
	}
	tests, err := chosenTests(proof.Tests(m), ids)
	if err != nil {
		return err
	}
	rows, failed := []simulatedProof{}, 0
	var kept []record.Proof
	for i := range tests {
		t := &tests[i]
		row := simulatedProof{Test: t.ID, Expected: t.Expected, MeasuredS: record.Unknown, FromFaultS: record.Unknown, LimitS: t.LimitS}
		switch {
		case len(t.Lacking) > 0:
			row.Verdict, row.Seen = record.ProofImpossible, "for want of "+strings.Join(t.Lacking, " and ")
		case !slices.Contains(rehearsal.Benched(), t.ID):
			row.Verdict, row.Seen = "not simulated", "for a person at the machine"
		default:
			res, err := rehearsal.Prove(ctx, rehearsal.BenchPlan{Machine: m, Recipe: r, Test: *t, Seed: o.seed, Broken: o.broken})
			if err != nil {
				return fmt.Errorf("proof test %s: %w", t.ID, err)
			}
			row.Seen, row.MeasuredS, row.FromFaultS = res.Seen, res.MeasuredS, res.FromFaultS
			if row.Verdict = record.ProofPass; !res.Pass {
				row.Verdict = record.ProofFail
				failed++
			}
			kept = append(kept, record.Proof{Test: t.ID, Who: "simulation", When: time.Now(), Expected: t.Expected, Seen: res.Seen, MeasuredS: res.MeasuredS,
				LimitS: t.LimitS, Result: row.Verdict, Note: "On the simulated machine; says nothing about the real one.", MachineHash: m.Hash, Version: versionText(), Simulated: true})
		}
		rows = append(rows, row)
	}
	if o.journal != "" {
		if err := keepSimulated(o.journal, m, kept); err != nil {
			return err
		}
	}
	if err := printSimulated(stdout, m, rows, o.asJSON); err != nil {
		return err
	}
	if failed > 0 {
		return exitError{codeFailed, fmt.Errorf("%d of %d proof tests failed", failed, len(kept))}
	}
	return nil
}

func printSimulated(w io.Writer, m *profiles.Machine, rows []simulatedProof, asJSON bool) error {
	if asJSON {
		return printJSON(w, map[string]any{"machine": m.About.Name, "tests": rows})
	}
	printWrapped(w, "", fmt.Sprintf("Simulated machine %s. Measured is from the moment that what the interlock looks at was there to no heat at the machine, by the machine's own truth. This says nothing about a real machine.", m.About.Name))
	fmt.Fprintf(w, "\n%-17s %-7s %8s %7s  %s\n", "test", "verdict", "measured", "limit", "seen")
	left := map[string][]string{}
	for _, r := range rows {
		if r.Verdict != record.ProofPass && r.Verdict != record.ProofFail {
			left[r.Verdict] = append(left[r.Verdict], r.Test)
			continue
		}
		seen := r.Seen
		if r.Verdict == record.ProofFail {
			seen += "; expected: " + r.Expected
		}
		printWrapped(w, fmt.Sprintf("%-17s %-7s %8s %7s  ", r.Test, r.Verdict, secondsText(r.MeasuredS), secondsText(r.LimitS)), seen)
	}
	for _, g := range [...]struct{ verdict, head string }{{"not simulated", "Not simulated, for a person at the machine: "}, {record.ProofImpossible, "Not possible, for want of a point: "}} {
		if tests := left[g.verdict]; len(tests) > 0 {
			fmt.Fprintln(w)
			printWrapped(w, "", g.head+strings.Join(tests, ", "))
		}
	}
	return nil
}

func secondsText(n record.Number) string {
	if !n.Known() {
		return "-"
	}
	return fmt.Sprintf("%.2f s", float64(n))
}

func keepSimulated(path string, m *profiles.Machine, list []record.Proof) error {
	keep, err := journal.Open(path, journal.Config{MachineText: m.Text, Version: versionText()})
	if err != nil {
		return err
	}
	for _, p := range list {
		if _, err := keep.SaveProof(p); err != nil {
			return firstOf(err, keep.Close())
		}
	}
	return keep.Close()
}

// warmingRecipe is the recipe to warm with: the named one, or a shipped one that
// the machine can roast.
func warmingRecipe(name string, m *profiles.Machine) (*profiles.Recipe, error) {
	if name != "" {
		r, err := recipeFrom(name)
		if err != nil {
			return nil, err
		}
		return r, profiles.Fit(r, m)
	}
	var last error
	for _, path := range profiles.ExampleNames() {
		file, ok := strings.CutPrefix(path, "recipes/")
		if !ok {
			continue
		}
		r, err := recipeFrom(strings.TrimSuffix(file, ".yaml"))
		if err != nil {
			return nil, err
		}
		if last = profiles.Fit(r, m); last == nil {
			return r, nil
		}
	}
	return nil, fmt.Errorf("no shipped recipe fits this machine: name one with --recipe: %w", last)
}

package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/fieldbus"
	"drumwright/io/journal"
	"drumwright/io/point"
	"drumwright/io/record"
	"drumwright/io/sensor"
	"drumwright/profiles"
	"drumwright/safety"
	"drumwright/safety/proof"
)

func checkCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check MACHINE [RECIPE...]",
		Short: "Read a machine file and recipes and say what was understood",
		Long: `check reads a machine file, recipes against it, and the proof tests in its
journal if there is one. It prints every fault it finds, with file and line, or
what was understood: points and which device map each came from, requests on each bus with the time they take,
limits, which interlocks are not covered because the machine has no point for
them, and which proof tests are due.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := machineFrom(args[0])
			if err != nil {
				return err
			}
			w := cmd.OutOrStdout()
			if err := describe(w, m); err != nil {
				return err
			}
			var faults profiles.Faults
			for _, name := range args[1:] {
				r, err := recipeFrom(name)
				if err == nil {
					err = profiles.Fit(r, m)
				}
				if f, ok := err.(profiles.Faults); ok {
					faults = append(faults, f...)
					continue
				}
				if err != nil {
					return err
				}
				fmt.Fprintf(w, "\nRecipe %s: fits this machine.\n", r.Name)
			}
			if len(faults) > 0 {
				return faults
			}
			return nil
		},
	}
}

// describe prints what was understood of a machine.
func describe(w io.Writer, m *profiles.Machine) error {
	fmt.Fprintf(w, "Machine %s at %s, scan every %v\n\n", m.About.Name, m.About.Site, m.Scan.PeriodS)
	if err := describePoints(w, m); err != nil {
		return err
	}
	describeDevices(w, m)
	plan, err := fieldbus.Plan(m)
	if err != nil {
		return err
	}
	if err := describeBuses(w, m, plan); err != nil {
		return err
	}
	fmt.Fprintln(w, "\nInterlocks (thresholds are estimates until commissioning has measured them)")
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, r := range safety.Rows(m) {
		kind := r.State.Code() + " " + r.State.Name()
		if r.Warn {
			kind = "warns"
		}
		fmt.Fprintf(t, "  %s\tafter %.2g s\t%s\t%s\n", r.ID, r.AfterS, kind, r.Cause)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	for _, l := range safety.Lowered(m) {
		fmt.Fprintf(w, "  lowered to the hard ceiling: %s\n", l)
	}
	if missing := append(safety.Uncovered(m), m.Missing()...); len(missing) > 0 {
		fmt.Fprintln(w, "\nNot covered on this machine")
		for _, s := range missing {
			fmt.Fprintf(w, "  %s\n", s)
		}
	}
	if excepted, _ := safety.Exceptions(m, time.Now().Format(time.DateOnly)); len(excepted) > 0 {
		fmt.Fprintln(w, "\nExcepted today")
		for _, s := range excepted {
			fmt.Fprintf(w, "  %s\n", s)
		}
	}
	describeCommissioning(w, m)
	describeProofs(w, m)
	describeAccess(w, m)
	fmt.Fprintln(w, "\nBefore heat is used")
	printCautions(w)
	return nil
}

// printCautions prints what must be so before heat is used.
func printCautions(w io.Writer) {
	for _, c := range proof.BeforeHeat() {
		printWrapped(w, "  - ", c)
	}
}

// describeProofs says which proof tests are due, by the journal as it is now.
func describeProofs(w io.Writer, m *profiles.Machine) {
	tests := proof.Tests(m)
	kept, note := fromJournal(m, (*journal.Reader).Proofs)
	standings := proof.Due(tests, kept, time.Now())
	byState := map[string][]string{}
	for i := range standings {
		s := &standings[i]
		name := s.ID
		if s.DueAt != nil && (s.State == record.ProofDue || s.State == record.ProofOverdue) {
			name += " since " + s.DueAt.Format(time.DateOnly)
		}
		byState[s.State] = append(byState[s.State], name)
	}
	fmt.Fprintf(w, "\nProof tests%s\n", note)
	for _, state := range []string{record.ProofFailed, record.ProofOverdue, record.ProofDue, record.ProofNever, record.ProofOK, record.ProofImpossible} {
		if names := byState[state]; len(names) > 0 {
			printWrapped(w, "  ", state+": "+strings.Join(names, ", "))
		}
	}
	for _, why := range proof.Blocks(standings, m.Proofs.RequireAll) {
		printWrapped(w, "  ", "no new roast: "+why)
	}
}

func describePoints(w io.Writer, m *profiles.Machine) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(t, "Point\tbus\tunit\ttable\taddress\ttype\tmeaning")
	row := func(name string, a *point.Access, about string) {
		kind := a.Type.String()
		if a.Bit != point.NoBit && !a.Table.Bits() {
			kind += fmt.Sprintf(" bit %d", a.Bit)
		}
		if a.Type.Words() == 2 {
			kind += " " + a.Order.String()
		}
		if a.Sensor != sensor.None {
			kind += " " + a.Sensor.Unit() + " " + a.Sensor.String()
		}
		fmt.Fprintf(t, "%s\t%s\t%d\t%s\t%d\t%s\t%s\n", name, m.BusList[a.Bus].Name, a.Unit, a.Table, a.Address, kind, about)
	}
	for i := range point.NumInputs {
		if m.HasIn[i] {
			row(i.String(), &m.In[i], i.Role().About)
		}
	}
	for o := range point.NumOutputs {
		if m.HasOut[o] {
			row(o.String(), &m.Out[o], "→ "+o.Role().About)
		}
	}
	return t.Flush()
}

func describeBuses(w io.Writer, m *profiles.Machine, plan []fieldbus.Request) error {
	for i, b := range m.BusList {
		where := ""
		if b.TCP != nil {
			where = fmt.Sprintf("Modbus TCP %s:%d", b.TCP.Host, b.TCP.Port)
		} else {
			where = fmt.Sprintf("Modbus RTU %s, %d baud", b.RTU.Device, b.RTU.Baud)
		}
		fmt.Fprintf(w, "\nBus %s: %s\n", b.Name, where)
		t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
		reads, writes := 0.0, 0.0
		for _, r := range plan {
			if r.Bus != i {
				continue
			}
			verb, every, names := "read", fmt.Sprintf("every %d. scan", r.Every), []string{}
			if r.Every == 1 {
				every = "every scan"
			}
			names = append(names, r.Reads...)
			if r.Write {
				verb, every = "write", "on change"
				for _, o := range r.Outputs {
					names = append(names, o.String())
				}
				writes += r.EstimateS
			} else {
				reads += r.EstimateS / float64(r.Every)
			}
			fmt.Fprintf(t, "  %s\tunit %d\t%s %d–%d\t%s\t%.1f ms\t%s\n", verb, r.Unit, r.Table, r.Address, int(r.Address)+r.Count-1, every, 1000*r.EstimateS, strings.Join(names, ", "))
		}
		if err := t.Flush(); err != nil {
			return err
		}
		period := float64(m.Scan.PeriodS)
		fmt.Fprintf(w, "  budget: reading %.1f ms a scan on average, all writes at once %.1f ms, of %.0f ms\n", 1000*reads, 1000*writes, 1000*period)
		if reads > 0.6*period {
			fmt.Fprintln(w, "  too slow: reading takes more than 60 % of the scan; lengthen scan.period, raise the baud rate, or read points less often (every)")
		}
	}
	return nil
}

// fromJournal is what the machine's journal keeps of a kind, and a remark for
// people when it cannot be said.
func fromJournal[T any](m *profiles.Machine, read func(*journal.Reader, context.Context) ([]T, error)) (kept []T, note string) {
	path := m.Telemetry.Journal
	if _, err := os.Stat(path); err != nil {
		return nil, " (no journal yet at " + path + ")"
	}
	r, err := journal.OpenReader(path)
	if err != nil {
		return nil, " (not known: " + err.Error() + ")"
	}
	defer r.Close()
	if kept, err = read(r, context.Background()); err != nil {
		note = " (not known: " + err.Error() + ")"
	}
	return kept, note
}

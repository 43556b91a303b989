package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/fieldbus"
	"drumwright/io/point"
	"drumwright/profiles"
)

func findCommand() *cobra.Command {
	from, to := 1, 247
	c := &cobra.Command{
		Use:   "find MACHINE [BUS]",
		Short: "List which unit ids answer on a bus, reading only",
		Long: `find asks every unit id of a bus of the machine file for one register, three
times, and lists who answers, with what the machine file knows of it. It writes
nothing. The daemon must be stopped. Without BUS all buses are searched; each id
that nobody has takes the bus's timeout.`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(cmd *cobra.Command, args []string) error {
			if from < 1 || to > 247 || from > to {
				return exitError{codeInput, fmt.Errorf("--from %d --to %d: allowed is 1 to 247, rising", from, to)}
			}
			m, err := machineFrom(args[0])
			if err != nil {
				return err
			}
			var names []string
			for i := range m.BusList {
				names = append(names, m.BusList[i].Name)
			}
			buses := names
			if len(args) == 2 {
				if !slices.Contains(names, args[1]) {
					return exitError{codeInput, fmt.Errorf("there is no bus %q; there are %s", args[1], strings.Join(names, ", "))}
				}
				buses = args[1:]
			}
			locks, err := lockBuses(m, lockFolders())
			if err != nil {
				return err
			}
			defer locks.release()
			return findUnits(cmd.Context(), m, buses, from, to, cmd.OutOrStdout())
		},
	}
	c.Flags().IntVar(&from, "from", 1, "first unit id")
	c.Flags().IntVar(&to, "to", 247, "last unit id")
	return c
}

// findTries is how often each id is asked: two devices at one id answer now well,
// now not.
const findTries = 3

func findUnits(ctx context.Context, m *profiles.Machine, buses []string, from, to int, w io.Writer) (err error) {
	field, err := fieldbus.New(m, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	defer func() { err = firstOf(err, field.Close()) }()
	for i := range m.BusList {
		name := m.BusList[i].Name
		if !slices.Contains(buses, name) {
			continue
		}
		fmt.Fprintf(w, "Bus %s, unit ids %d to %d\n", name, from, to)
		found := 0
		for u := from; u <= to; u++ {
			count := map[fieldbus.Echo]int{}
			for range findTries {
				_, echo := field.Peek(ctx, i, uint8(u), point.Holding, 0, 1, time.Now().Add(2*time.Second))
				count[echo]++
				if ctx.Err() != nil {
					return ctx.Err()
				}
				if echo == fieldbus.Unasked {
					return fmt.Errorf("bus %s cannot be used: is the device or gateway there?", name)
				}
			}
			if count[fieldbus.Mute] == findTries {
				continue
			}
			found++
			text := "answers"
			if count[fieldbus.Answered]+count[fieldbus.Denied] < findTries {
				text = "answers badly: two devices at this id, or a bad connection"
			}
			fmt.Fprintf(w, "  unit %3d  %s; %s\n", u, text, knownOf(m, i, uint8(u)))
		}
		if found == 0 {
			fmt.Fprintln(w, "  nobody answers: check supply, wires, baud rate and parity")
		}
	}
	return nil
}

// knownOf is what the machine file has at a unit.
func knownOf(m *profiles.Machine, bus int, unit uint8) string {
	var roles []string
	for i := range point.NumInputs {
		if m.HasIn[i] && m.In[i].Bus == bus && m.In[i].Unit == unit {
			roles = append(roles, i.String())
		}
	}
	for o := range point.NumOutputs {
		if m.HasOut[o] && m.Out[o].Bus == bus && m.Out[o].Unit == unit {
			roles = append(roles, o.String())
		}
	}
	switch {
	case len(roles) == 0:
		return "not in the machine file"
	case len(roles) > 3:
		return fmt.Sprintf("machine file: %s and %d more", strings.Join(roles[:3], ", "), len(roles)-3)
	}
	return "machine file: " + strings.Join(roles, ", ")
}

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/devicemap"
	"drumwright/io/fieldbus"
	"drumwright/profiles"
)

type deviceOptions struct {
	bus        string
	unit       int
	set, roles []string
}

func (o *deviceOptions) flags(c *cobra.Command) {
	f := c.Flags()
	f.StringVar(&o.bus, "bus", "", "name of a bus of the machine file")
	f.IntVar(&o.unit, "unit", 1, "unit id")
	f.StringArrayVar(&o.set, "set", nil, "a parameter of the map, such as base=100; again for each")
}

func deviceCommand() *cobra.Command {
	var o deviceOptions
	c := &cobra.Command{
		Use:   "device [MAP]",
		Short: "Write the lines of a machine file for a known kind of device",
		Long: `device knows where some kinds of modules and drives have their registers. Without
MAP it lists the kinds, with MAP it shows one, and with --role it prints the lines
for the machine file, to put under inputs, outputs and identity:

  drumwright device thermocouple-8 --bus line --unit 3 --role bean=channel_1

MAP is one of those listed or a file of your own. Before heat is used: check-device,
then wiring.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			w := cmd.OutOrStdout()
			if len(args) == 0 {
				return listMaps(w)
			}
			m, err := devicemap.Load(args[0])
			if err != nil {
				return exitError{codeInput, err}
			}
			if len(o.roles) == 0 {
				return showMap(w, m)
			}
			return o.printLines(w, m)
		},
	}
	o.flags(c)
	c.Flags().StringArrayVar(&o.roles, "role", nil, "a role of the machine and the point of the device that plays it, such as bean=channel_1; again for each")
	return c
}

func listMaps(w io.Writer) error {
	for _, name := range devicemap.Names() {
		m, err := devicemap.Load(name)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%-18s %s (tried on: %s)\n", name, m.What, m.Tried)
	}
	return nil
}

func showMap(w io.Writer, m *devicemap.Map) error {
	printWrapped(w, "", m.What)
	printWrapped(w, "Layout: ", m.Layout)
	fmt.Fprintf(w, "Tried on: %s\n", m.Tried)
	printWrapped(w, "Points: ", strings.Join(m.Points(), ", "))
	for _, name := range slices.Sorted(maps.Keys(m.Parameters)) {
		p := m.Parameters[name]
		usual := "must be given"
		if p.Default != nil {
			usual = "default " + strconv.Itoa(*p.Default)
		}
		fmt.Fprintf(w, "--set %s=N  %s; %s\n", name, p.What, usual)
	}
	return nil
}

// parameters reads the --set flags.
func (o *deviceOptions) parameters() (map[string]int, error) {
	set := map[string]int{}
	for _, s := range o.set {
		name, value, _ := strings.Cut(s, "=")
		n, err := strconv.ParseInt(value, 0, 32)
		if err != nil {
			return nil, exitError{codeInput, fmt.Errorf("--set %s: write NAME=whole number", s)}
		}
		set[name] = int(n)
	}
	return set, nil
}

func (o *deviceOptions) printLines(w io.Writer, m *devicemap.Map) error {
	if o.bus == "" || o.unit < 0 || o.unit > 247 {
		return exitError{codeInput, errors.New("--bus must name a bus of the machine file, and --unit is 0 to 247")}
	}
	set, err := o.parameters()
	if err != nil {
		return err
	}
	use := devicemap.Use{Bus: o.bus, Unit: o.unit, Set: set, Roles: map[string]string{}}
	for _, r := range o.roles {
		role, p, ok := strings.Cut(r, "=")
		if !ok {
			return exitError{codeInput, fmt.Errorf("--role %s: write ROLE=point; the points are %s", r, strings.Join(m.Points(), ", "))}
		}
		use.Roles[role] = p
	}
	inputs, identity, outputs, err := m.Lines(&use)
	if err != nil {
		return exitError{codeInput, err}
	}
	for _, part := range []struct {
		name  string
		lines []string
	}{{"inputs", inputs}, {"identity", identity}, {"outputs", outputs}} {
		if len(part.lines) == 0 {
			continue
		}
		fmt.Fprintf(w, "%s:\n  # Unit %d, %s (tried on: %s)\n%s\n", part.name, o.unit, m.Name, m.Tried, strings.Join(part.lines, "\n"))
	}
	return nil
}

func checkDeviceCommand() *cobra.Command {
	var o deviceOptions
	c := &cobra.Command{
		Use:   "check-device MACHINE MAP",
		Short: "Read a unit and compare it with what its kind of device has",
		Long: `check-device reads every point of a map (see drumwright help device) from a unit on
a bus of the machine file and says what it means and what does not fit: registers
that the device refuses, statuses that the kind does not know, another device by its
constants. It writes nothing. The daemon must be stopped. It ends with 1 if anything
does not fit.`,
		Args: cobra.ExactArgs(2),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := machineFrom(args[0])
			if err != nil {
				return err
			}
			kind, err := devicemap.Load(args[1])
			if err != nil {
				return exitError{codeInput, err}
			}
			index := slices.IndexFunc(m.BusList, func(b profiles.Bus) bool { return b.Name == o.bus })
			if index < 0 {
				return exitError{codeInput, fmt.Errorf("--bus %q: no such bus in %s", o.bus, args[0])}
			}
			set, err := o.parameters()
			if err != nil {
				return err
			}
			questions, err := kind.Questions(set)
			if err != nil {
				return exitError{codeInput, err}
			}
			locks, err := lockBuses(m, lockFolders())
			if err != nil {
				return err
			}
			defer locks.release()
			return askDevice(cmd.Context(), m, index, uint8(o.unit), questions, cmd.OutOrStdout())
		},
	}
	o.flags(c)
	return c
}

// askDevice asks all questions and says what came.
func askDevice(ctx context.Context, m *profiles.Machine, bus int, unit uint8, questions []devicemap.Question, w io.Writer) (err error) {
	field, err := fieldbus.New(m, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	defer func() { err = firstOf(err, field.Close()) }()
	misfits := 0
	for i := range questions {
		q := &questions[i]
		words, echo := field.Peek(ctx, bus, unit, q.Table, q.Address, q.Words, time.Now().Add(2*time.Second))
		said, fits := "", false
		switch echo {
		case fieldbus.Answered:
			said, fits = q.Judge(words)
		case fieldbus.Denied:
			said = "refused: the device has nothing there"
		case fieldbus.Mute:
			said = "no answer: is this its unit id?"
		case fieldbus.Garbled:
			said = "no sense in the answer: two devices at this id, or a bad connection"
		default:
			return fmt.Errorf("bus %s cannot be used: is the device or gateway there?", m.BusList[bus].Name)
		}
		word := "fits"
		if !fits {
			word = "NOT"
			misfits++
		}
		fmt.Fprintf(w, "%-5s %-12s %s %d: %s\n", word, q.Point, q.Table, q.Address, said)
	}
	if misfits > 0 {
		return fmt.Errorf("%d of %d points do not fit", misfits, len(questions))
	}
	fmt.Fprintf(w, "All %d points fit.\n", len(questions))
	return nil
}

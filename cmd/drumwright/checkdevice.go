package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/fieldbus"
	"drumwright/io/point"
	"drumwright/profiles"
)

func checkDeviceCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "check-device MACHINE [DEVICE...]",
		Short: "Read devices and compare them with what their maps say",
		Long: `check-device reads every point of the maps of the machine file's devices, or of those
that are named, and says what each means and what does not fit: registers that the
device refuses, statuses that its kind does not know, readings outside the range that
the map or the point's role states, another device by its constants. Points that play
no role yet are read too. An open probe fits: that is what the device says. Outputs
are read where the map has read_back. It writes nothing. The daemon must be stopped.
It ends with 1 if anything does not fit.`,
		Args: cobra.MinimumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := machineFrom(args[0])
			if err != nil {
				return err
			}
			names, err := devicesNamed(m, args[1:])
			if err != nil {
				return err
			}
			locks, err := lockBuses(m, lockFolders())
			if err != nil {
				return err
			}
			defer locks.release()
			return askDevices(cmd.Context(), m, names, cmd.OutOrStdout())
		},
	}
}

// askDevices asks all there is to ask and says what came.
func askDevices(ctx context.Context, m *profiles.Machine, names []string, w io.Writer) (err error) {
	field, err := fieldbus.New(m, slog.New(slog.DiscardHandler))
	if err != nil {
		return err
	}
	defer func() { err = firstOf(err, field.Close()) }()
	misfits, all := 0, 0
	for _, name := range names {
		d, kind := m.Devices[name], m.Maps[name]
		fmt.Fprintf(w, "Device %s: unit %d on %s, by the map %s\n", name, d.Unit, d.Bus, kind.File)
		readings := m.Readings(name)
		for i := range readings {
			r := &readings[i]
			said, fits, err := askReading(ctx, field, m, r)
			if err != nil {
				return err
			}
			word := "fits"
			if all++; !fits {
				word = "NOT"
				misfits++
			}
			what := r.Point
			if r.Role != "" {
				what += " = " + r.Role
			}
			fmt.Fprintf(w, "  %-5s %s, %s %d: %s\n", word, what, r.Access.Table, r.Access.Address, said)
		}
	}
	if misfits > 0 {
		return fmt.Errorf("%d of %d points do not fit", misfits, all)
	}
	fmt.Fprintf(w, "All %d points fit.\n", all)
	return nil
}

// askReading reads one point and says what it means. An error is of the bus.
func askReading(ctx context.Context, field *fieldbus.Fieldbus, m *profiles.Machine, r *profiles.Reading) (said string, fits bool, err error) {
	words, said, err := peekAt(ctx, field, m, &r.Access)
	if err != nil || said != "" {
		return said, false, err
	}
	var junction []uint16
	if r.Junction != nil {
		if junction, said, err = peekAt(ctx, field, m, r.Junction); err != nil || said != "" {
			return "cold junction: " + said, false, err
		}
	}
	said, fits = judgeReading(r, words, junction)
	return said, fits, nil
}

// peekAt reads what an access covers; said is why there is nothing.
func peekAt(ctx context.Context, field *fieldbus.Fieldbus, m *profiles.Machine, a *point.Access) (words []uint16, said string, err error) {
	words, echo := field.Peek(ctx, a.Bus, a.Unit, a.Table, a.Address, max(a.Type.Words(), a.SpanWords), time.Now().Add(2*time.Second))
	switch echo {
	case fieldbus.Answered:
		return words, "", nil
	case fieldbus.Denied:
		return nil, "refused: the device has nothing there", nil
	case fieldbus.Mute:
		return nil, "no answer: is this its unit id?", nil
	case fieldbus.Garbled:
		return nil, "no sense in the answer: two devices at this id, or a bad connection", nil
	}
	return nil, "", fmt.Errorf("bus %s cannot be used: is the device or gateway there?", m.BusList[a.Bus].Name)
}

// judgeReading says what words mean and whether they are such as the device would
// hold. junction holds the cold junction of a thermocouple in use.
func judgeReading(r *profiles.Reading, words, junction []uint16) (said string, fits bool) {
	a := &r.Access
	if a.Table.Bits() || a.Bit != point.NoBit {
		return fmt.Sprintf("%v", a.Decode(words).V), true
	}
	raw := a.Raw(words)
	if r.Is != nil {
		return fmt.Sprintf("%v, wanted %v", raw, *r.Is), raw == *r.Is
	}
	if len(r.States) > 0 {
		masked := int(raw)
		if a.Mask != 0 {
			masked &= int(a.Mask)
		}
		names := slices.Sorted(maps.Keys(r.States))
		for _, name := range names {
			if r.States[name] == masked {
				return fmt.Sprintf("%v: %s", raw, name), true
			}
		}
		return fmt.Sprintf("%v: none of %s", raw, strings.Join(names, ", ")), false
	}
	if a.Type == point.Bool {
		return fmt.Sprintf("%v", a.Decode(words).V), true
	}
	v := a.Decode(words)
	if v.Cause == point.OpenProbe {
		return fmt.Sprintf("%v: open probe", raw), true
	}
	if r.Junction != nil {
		v = a.Compensate(v, r.Junction.Decode(junction))
	}
	said = fmt.Sprintf("%v, that is %.5g", raw, v.V)
	switch {
	case !r.Ranged:
		return said + ", no range is stated", true
	case v.Cause == point.OutOfRange:
		return fmt.Sprintf("%s, outside %.5g to %.5g", said, a.Min, a.Max), false
	case v.Quality == point.Bad:
		return fmt.Sprintf("%s: %v", said, v.Cause), false
	}
	return said, true
}

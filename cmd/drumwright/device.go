package main

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"drumwright/profiles"
)

func deviceCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "device [MAP]",
		Short: "Show the kinds of devices whose registers are known, and how to use one",
		Long: `device lists the device maps that come with the program; with MAP, a name of those
or a file of your own, it shows what one holds. A map says once where a kind of module
or drive has its registers. A machine file uses it for one device at one unit id:

  devices:
    probes: {map: thermocouple-8, bus: line, unit: 3}
  inputs:
    bean:      {device: probes, point: channel_1}
    inlet_air: {device: probes, point: channel_2, max: 400}

What stands at the point itself, such as max here or what calibrate writes, counts
before the map. The machine file is read together with its maps: faults in a map are
named with the map's file and line, the machine's hash covers both, the journal keeps
both, and check says what came from where.

A map of your own is a file NAME.yaml beside the machine file, used as map: NAME.yaml.
How to write one in ten minutes stands in deploy/DEVICES.md, with the package in
/usr/share/doc/drumwright. Before heat is used: check-device, then wiring.`,
		Args: cobra.MaximumNArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			w := cmd.OutOrStdout()
			if len(args) == 0 {
				return listMaps(w)
			}
			d, err := profiles.LoadMap(args[0])
			if err != nil {
				return exitError{codeInput, err}
			}
			showMap(w, d)
			return nil
		},
	}
}

func listMaps(w io.Writer) error {
	for _, name := range profiles.MapNames() {
		d, err := profiles.LoadMap(name)
		if err != nil {
			return err
		}
		fmt.Fprintf(w, "%-18s %s (tried on: %s)\n", name, d.What, d.Tried)
	}
	return nil
}

func showMap(w io.Writer, d *profiles.DeviceMap) {
	printWrapped(w, "", d.What)
	printWrapped(w, "Layout: ", d.Layout)
	printWrapped(w, "Tried on: ", d.Tried)
	for _, of := range []struct {
		head   string
		points map[string]profiles.Point
	}{{"For inputs: ", d.Inputs}, {"For outputs: ", d.Outputs}} {
		if len(of.points) > 0 {
			var names []string
			for _, p := range d.Points {
				if _, here := of.points[p]; here {
					names = append(names, p)
				}
			}
			printWrapped(w, of.head, strings.Join(names, ", "))
		}
	}
	if n := len(d.Identity); n > 0 {
		fmt.Fprintf(w, "Constants by which it is known: %d\n", n)
	}
	for _, name := range slices.Sorted(maps.Keys(d.Parameters)) {
		p := d.Parameters[name]
		usual := "must be given"
		if p.Default != nil {
			usual = "usually " + strconv.Itoa(*p.Default)
		}
		fmt.Fprintf(w, "with: {%s: N}  %s; %s\n", name, p.What, usual)
	}
}

// describeDevices says which points came from which map.
func describeDevices(w io.Writer, m *profiles.Machine) {
	for _, name := range slices.Sorted(maps.Keys(m.Devices)) {
		d, kind := m.Devices[name], m.Maps[name]
		fmt.Fprintf(w, "\nDevice %s: unit %d on %s, by the map %s, tried on: %s\n", name, d.Unit, d.Bus, kind.File, kind.Tried)
		used := map[string]bool{}
		for _, x := range m.Included {
			if x.Device != name {
				continue
			}
			used[x.Point] = true
			own := ""
			if len(x.Own) > 0 {
				own = "; here: " + strings.Join(x.Own, ", ")
			}
			fmt.Fprintf(w, "  %s = %s, line %d of the map%s\n", x.Role, x.Point, x.Line, own)
		}
		if n := len(kind.Identity); n > 0 {
			fmt.Fprintf(w, "  constants of the map by which it is known: %d\n", n)
		}
		var spare []string
		for _, p := range kind.Points {
			if !used[p] {
				spare = append(spare, p)
			}
		}
		if len(spare) > 0 {
			printWrapped(w, "  not used: ", strings.Join(spare, ", "))
		}
	}
}

// devicesNamed are devices of a machine file, all if none is named.
func devicesNamed(m *profiles.Machine, names []string) ([]string, error) {
	known := slices.Sorted(maps.Keys(m.Devices))
	if len(known) == 0 {
		return nil, exitError{codeInput, errors.New("the machine file has no devices: drumwright help device shows how to write them")}
	}
	if len(names) == 0 {
		return known, nil
	}
	for _, n := range names {
		if m.Maps[n] == nil {
			return nil, exitError{codeInput, fmt.Errorf("device %q is not in the machine file; it has %s", n, strings.Join(known, ", "))}
		}
	}
	return names, nil
}

package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/doctor"
	"drumwright/io/journal"
	"drumwright/profiles"
)

func doctorCommand() *cobra.Command {
	asJSON := false
	c := &cobra.Command{
		Use:   "doctor MACHINE",
		Short: "Look at the computer, its disk and clock, the adapters and how the daemon fares",
		Long: `doctor looks at clock, disk space, wear and speed, the journal, serial adapters and
rights, and asks the running daemon how its buses and scans fare. It asks no device
on a bus and may be run beside a roast. For each thing that is not good it says what
to do. Run it as the daemon's user or as root.

It ends with 1 if there is a fault; warnings end with 0.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := profiles.LoadMachine(args[0])
			if err != nil {
				return err
			}
			list := examine(cmd.Context(), m)
			if asJSON {
				err = printJSON(cmd.OutOrStdout(), map[string]any{"version": versionText(), "machine": m.About.Name, "worst": doctor.Worst(list), "findings": list})
			} else {
				err = printFindings(cmd.OutOrStdout(), list)
			}
			if err == nil && doctor.Worst(list) == doctor.Fault {
				return exitError{codeFailed, nil}
			}
			return err
		},
	}
	c.Flags().BoolVar(&asJSON, "json", false, "the findings as JSON")
	return c
}

func printFindings(w io.Writer, list []doctor.Finding) error {
	for _, f := range list {
		fmt.Fprintf(w, "%-8s %s\n", f.Grade, wrapped(strings.Repeat(" ", 9), f.What+": "+f.Said)[9:])
		if f.Do != "" {
			printWrapped(w, "         -> ", f.Do)
		}
	}
	count := func(g doctor.Grade) (n int) {
		for _, f := range list {
			if f.Grade == g {
				n++
			}
		}
		return n
	}
	_, err := fmt.Fprintf(w, "\nfaults: %d, warnings: %d, not to be known here: %d\n", count(doctor.Fault), count(doctor.Warning), count(doctor.Unknown))
	return err
}

// examine looks at everything that stands under a machine.
func examine(ctx context.Context, m *profiles.Machine) []doctor.Finding {
	folder := filepath.Dir(m.Telemetry.Journal)
	if whole, err := filepath.Abs(folder); err == nil {
		folder = whole
	}
	list := []doctor.Finding{
		{What: "version", Grade: doctor.Good, Said: versionText()},
		doctor.Clock(time.Now()),
		doctor.Space(folder),
		doctor.Speed(folder),
		doctor.Wear(folder, "/sys"),
		journalHealth(ctx, m.Telemetry.Journal),
	}
	who, err := doctor.Daemon()
	var names []string
	for i := range m.BusList {
		b := &m.BusList[i]
		names = append(names, b.Name)
		switch {
		case b.RTU == nil:
		case err != nil:
			list = append(list, doctor.Finding{What: "bus " + b.Name, Grade: doctor.Unknown, Said: err.Error()})
		default:
			list = append(list, doctor.Serial(b.Name, b.RTU.Device, who))
		}
	}
	text, err := metricsText(ctx, m)
	switch {
	case errors.Is(err, syscall.ECONNREFUSED) || errors.Is(err, fs.ErrNotExist):
		return append(list, doctor.Finding{What: "daemon", Grade: doctor.Warning, Said: "none runs", Do: "systemctl start drumwright, or drumwright serve; buses and rhythm are known then"})
	case err != nil:
		return append(list, doctor.Finding{What: "daemon", Grade: doctor.Fault, Said: err.Error(), Do: "see its log: journalctl -u drumwright"})
	}
	metrics, err := doctor.ReadMetrics(strings.NewReader(text))
	if err != nil {
		return append(list, doctor.Finding{What: "daemon", Grade: doctor.Fault, Said: err.Error()})
	}
	list = append(list, doctor.Finding{What: "daemon", Grade: doctor.Good, Said: "answers"})
	return slices.Concat(list, doctor.Buses(metrics, names), []doctor.Finding{doctor.Rhythm(metrics), doctor.Kept(metrics)})
}

// lastTrips is how many trips a report shows.
const lastTrips = 20

func journalHealth(ctx context.Context, path string) doctor.Finding {
	f := doctor.Finding{What: "journal", Grade: doctor.Good}
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		f.Said, f.Grade, f.Do = path+" is not there yet", doctor.Unknown, "the daemon makes it at its first start"
		return f
	}
	if err == nil {
		err = journal.QuickCheck(ctx, path)
	}
	if err != nil {
		f.Said, f.Grade, f.Do = fmt.Sprintf("%s: %v", path, err), doctor.Fault, "drumwright restore puts a backup in its place; keep the damaged file"
		return f
	}
	f.Said = fmt.Sprintf("%s is whole, %.1f MiB", path, float64(info.Size())/(1<<20))
	return f
}

// metricsText is what the daemon of a machine says of itself now.
func metricsText(ctx context.Context, m *profiles.Machine) (string, error) {
	d, err := dialDaemon(listenAddress(m))
	if err != nil {
		return "", err
	}
	ctx, cancel := context.WithTimeout(ctx, daemonTime)
	defer cancel()
	res, err := d.send(ctx, http.MethodGet, "/metrics", nil)
	if err != nil {
		return "", err
	}
	defer res.Body.Close()
	text, err := io.ReadAll(io.LimitReader(res.Body, 4<<20))
	return string(text), err
}

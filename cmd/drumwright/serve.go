package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/profiles"
)

type serveOptions struct {
	recipes  string
	logLevel string
	bench    string
	forS     float64
	practice float64 // on a simulated machine in the same program, so many times faster than life; 0 = a real one
}

// gcPercent is by how much the heap may grow between collections. The daemon holds
// a few megabytes and makes less than one a second: collecting twice as often as
// usual is not felt, and the memory of a small board is.
const gcPercent = 50

func serveCommand() *cobra.Command {
	var o serveOptions
	c := &cobra.Command{
		Use:   "serve MACHINE",
		Short: "Control the machine that a machine file describes",
		Long: `serve is the daemon: it scans the machine, runs loops, sequence and interlocks,
keeps the journal and answers the local API. It starts cold: heat never comes on
by itself, and a batch never goes on after a restart. Before anything else it
writes heat off. On SIGINT or SIGTERM it writes heat off first and leaves drum
and air as they are; a second signal ends it at once. Only one controller may
drive a bus.

Commands that set something in motion or lift a protection are taken at the
machine only: over the local socket or from a loopback address.

Exit codes: 0 done, 1 could not, 2 wrong command line, 78 wrong machine file: a
service manager need not try that again.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			err := serve(cmd.Context(), args[0], &o, cmd.OutOrStdout(), cmd.ErrOrStderr())
			if faults := (profiles.Faults)(nil); errors.As(err, &faults) {
				err = exitError{codeConfig, err}
			}
			return err
		},
	}
	f := c.Flags()
	f.StringVar(&o.recipes, "recipes", "", "folder of recipes; default recipes beside the machine file")
	f.StringVar(&o.logLevel, "log", "info", "debug, info, warn or error; SIGUSR1 turns debug on while it runs, SIGUSR2 off again")
	f.StringVar(&o.bench, "bench", "", "\"NAME: REASON\": heat beans on a bench or simulated machine that was not commissioned; NAME answers for it, log and every screen show it")
	f.Float64Var(&o.forS, "for", 0, "end after so many seconds and print how punctual the scan was; 0 = run until told")
	return c
}

func serve(ctx context.Context, file string, o *serveOptions, stdout, stderr io.Writer) (err error) {
	log, level, err := newLog(stderr, o.logLevel)
	if err != nil {
		return err
	}
	defer obey(log, level)()
	m, err := profiles.LoadMachine(file)
	if err != nil {
		return err
	}
	bench, err := benchOf(o.bench, o.practice > 0)
	if err != nil {
		return exitError{codeInput, err}
	}
	if o.recipes == "" {
		o.recipes = filepath.Join(filepath.Dir(file), "recipes")
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
	log.Info("starting", "version", versionText(), "machine", m.About.Name, "file", file)
	for _, s := range m.Missing() {
		log.Warn("not covered", "what", s)
	}
	d := &service{m: m, o: o, bench: bench, scale: max(1, m.Simulation.TimeScale), log: log, stdout: stdout, stderr: stderr}
	defer func() { err = firstOf(err, d.close()) }()
	for _, room := range []func(context.Context) error{d.takeMachine, d.openRecord, d.buildCore, d.addSinks, d.openAPI} {
		if err := room(ctx); err != nil {
			return err
		}
	}
	return d.run(ctx)
}

// today is the date, and how long the day goes on yet, s; none if the clock is
// behind the latest date that is known: what has ended must not begin again on a
// board that has lost its time.
func today(now, latest time.Time) (date string, leftS float64) {
	if now.Before(latest.Add(-clockSkew)) {
		return "", 0
	}
	midnight := time.Date(now.Year(), now.Month(), now.Day()+1, 0, 0, 0, 0, now.Location())
	return now.Format(time.DateOnly), midnight.Sub(now).Seconds()
}

func firstOf(a, b error) error {
	if a != nil {
		return a
	}
	return b
}

func seconds(s profiles.Seconds) time.Duration {
	return time.Duration(float64(s) * float64(time.Second))
}

// listenAddress is the file's address as the panel writes it.
func listenAddress(m *profiles.Machine) string {
	if strings.HasPrefix(m.Telemetry.Listen, "/") {
		return "unix:" + m.Telemetry.Listen
	}
	return m.Telemetry.Listen
}

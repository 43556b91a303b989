package main

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/doctor"
	"drumwright/io/journal"
	"drumwright/profiles"
)

func dumpCommand() *cobra.Command {
	out := ""
	c := &cobra.Command{
		Use:   "dump MACHINE",
		Short: "Gather what a report of a fault needs into one archive, without secrets",
		Long: `dump writes an archive for whoever looks into a fault: the machine file with its
device maps, the recipes beside it, the last trips and alarms, what the daemon says
of itself, the last lines of its log where the system keeps it, versions, and what
doctor finds. Passwords and the like are taken out; names of people and recipes stay.
Look into it before you hand it on: tar -tzf FILE.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := profiles.LoadMachine(args[0])
			if err != nil {
				return err
			}
			if out == "" {
				out = "drumwright-" + m.About.Name + "-" + time.Now().Format("20060102-150405") + ".tar.gz"
			}
			parts := gather(cmd.Context(), args[0], m)
			if err := pack(out, parts, secretsOf(m)); err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s holds:\n", out)
			for _, p := range parts {
				fmt.Fprintf(cmd.OutOrStdout(), "  %s\n", p.name)
			}
			return nil
		},
	}
	c.Flags().StringVar(&out, "out", "", "archive to write, of a name that is not taken; default drumwright-NAME-TIME.tar.gz here")
	return c
}

// part is one file of the archive.
type part struct {
	name string
	text []byte
}

// logLines is how much of the daemon's log goes along.
const logLines = "3000"

func gather(ctx context.Context, file string, m *profiles.Machine) []part {
	var parts []part
	add := func(name string, text []byte, err error) {
		if err != nil {
			text = append(text, "could not be had: "+err.Error()+"\n"...)
		}
		parts = append(parts, part{name, text})
	}
	addJSON := func(name string, v any, err error) {
		text, wrong := json.MarshalIndent(v, "", "  ")
		add(name, text, errors.Join(err, wrong))
	}
	build := versionText() + "\n"
	if info, ok := debug.ReadBuildInfo(); ok {
		build += info.String()
	}
	add("version.txt", []byte(build), nil)
	addJSON("doctor.json", examine(ctx, m), nil)
	add("machine.yaml", []byte(m.Text), nil)
	for _, beside := range []string{m.Telemetry.Journal, file} { // the package has recipes beside the journal
		recipes, _ := filepath.Glob(filepath.Join(filepath.Dir(beside), "recipes", "*.yaml")) // the pattern is right
		for _, r := range recipes {
			text, err := os.ReadFile(r)
			add("recipes/"+filepath.Base(r), text, err)
		}
		if len(recipes) > 0 {
			break
		}
	}
	metrics, err := metricsText(ctx, m)
	add("metrics.txt", []byte(metrics), err)
	trips, alarms, err := lastOf(ctx, m.Telemetry.Journal)
	addJSON("trips.json", trips, err)
	addJSON("alarms.json", alarms, err)
	ctx, cancel := context.WithTimeout(ctx, daemonTime)
	defer cancel()
	text, err := exec.CommandContext(ctx, "journalctl", "-u", "drumwright", "-n", logLines, "--no-pager", "-o", "short-iso").CombinedOutput()
	add("log.txt", text, err)
	return parts
}

func lastOf(ctx context.Context, path string) (trips, alarms any, err error) {
	r, err := journal.OpenReader(path)
	if err != nil {
		return nil, nil, err
	}
	defer r.Close()
	t, err1 := r.Trips(ctx, lastTrips)
	a, err2 := r.Alarms(ctx, 20*lastTrips)
	return t, a, errors.Join(err1, err2)
}

// secretsOf is what must not be in an archive although no pattern shows it.
func secretsOf(m *profiles.Machine) []string {
	if m.Telemetry.MQTT == nil {
		return nil
	}
	text, err := os.ReadFile(m.Telemetry.MQTT.PasswordFile)
	if err != nil {
		return nil // whoever may not read it cannot have written it anywhere
	}
	return []string{strings.TrimSpace(string(text))}
}

// pack writes the archive, each part without secrets, or nothing.
func pack(path string, parts []part, secrets []string) error {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	w := tar.NewWriter(z)
	for _, p := range parts {
		text := doctor.Without(p.text, secrets)
		err := w.WriteHeader(&tar.Header{Name: "drumwright/" + p.name, Mode: 0o600, Size: int64(len(text)), ModTime: time.Now()})
		if err == nil {
			_, err = w.Write(text)
		}
		if err != nil {
			return err
		}
	}
	if err := errors.Join(w.Close(), z.Close()); err != nil {
		return err
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return fmt.Errorf("%w: name another by --out", err)
	}
	_, err = f.Write(b.Bytes())
	return errors.Join(err, f.Close())
}

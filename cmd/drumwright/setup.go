package main

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/cmd/drumwright/internal/amend"
	"drumwright/profiles"
)

type setupOptions struct{ out, journal string }

func setupCommand() *cobra.Command {
	var o setupOptions
	c := &cobra.Command{
		Use:   "setup",
		Short: "Ask a few questions and write a first machine file",
		Long: `setup writes a first machine file from the shipped one that is nearest, with the
names and the connection of yours. All else in it, registers, sizes and limits, is
still the example's: change it section by section, with check after each, and keep
heat isolated until every point has been seen to be what it claims. A file that is
there is never overwritten.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return setup(&o, cmd.InOrStdin(), cmd.OutOrStdout())
		},
	}
	c.Flags().StringVar(&o.out, "out", "/etc/drumwright/machine.yaml", "file to write")
	c.Flags().StringVar(&o.journal, "journal", "/var/lib/drumwright/drumwright.db", "database file of the daemon")
	return c
}

func setup(o *setupOptions, in io.Reader, out io.Writer) error {
	if _, err := os.Stat(o.out); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s is there already: edit it, or move it away first", o.out)
	}
	lines := bufio.NewScanner(in)
	answered := true
	ask := func(question, usual string) string {
		fmt.Fprintf(out, "%s [%s]: ", question, usual)
		if answered = lines.Scan(); answered {
			if text := strings.TrimSpace(lines.Text()); text != "" {
				return text
			}
		}
		return usual
	}
	example, path, usual := "heron-1000", "buses.gateway.tcp.host", "192.168.1.10:502"
	question := "Address and port of the Modbus gateway"
	switch wire := ask("How are the devices wired: network or serial?", "network"); wire {
	case "network":
	case "serial":
		example, path, usual = "lark-300", "buses.line.rtu.device", firstAdapter()
		question = "Device of the serial adapter"
	default:
		return exitError{codeInput, fmt.Errorf("wiring %q: allowed are network and serial", wire)}
	}
	edits := []amend.Edit{
		{Path: "machine.site", Value: ask("Name of the shop, of a-z, 0-9 and -", "shop")},
		{Path: "machine.name", Value: ask("Name of the machine, of a-z, 0-9 and -", "roaster")},
		{Path: "machine.note", Value: "written by setup from " + example + "; not yet checked against the machine"},
		{Path: "telemetry.journal", Value: o.journal},
		{Path: "telemetry.mqtt"},
	}
	if where := ask(question, usual); example == "lark-300" {
		edits = append(edits, amend.Edit{Path: path, Value: where})
	} else {
		host, port, err := net.SplitHostPort(where)
		if err != nil {
			return exitError{codeInput, fmt.Errorf("address %q: %w; write it like 192.168.1.10:502", where, err)}
		}
		edits = append(edits, amend.Edit{Path: path, Value: host}, amend.Edit{Path: "buses.gateway.tcp.port", Value: port})
	}
	if !answered {
		return exitError{codeInput, errors.New("the answers end before the last question, so nothing is written: answer each, with an empty line for what stands in brackets")}
	}
	text, ok := profiles.Example("machines/" + example + ".yaml")
	if !ok {
		return fmt.Errorf("the example %s is missing", example)
	}
	text, err := amend.Apply(text, edits, "setup "+time.Now().Format(time.DateOnly))
	if err != nil {
		return err
	}
	// The schema lies beside the examples only.
	text = []byte(strings.TrimPrefix(string(text), "# yaml-language-server: $schema=../schema/machine.schema.json\n"))
	m, err := profiles.ParseMachine(o.out, text)
	if err != nil {
		return err
	}
	if err := os.MkdirAll(filepath.Dir(o.out), 0o755); err != nil {
		return err
	}
	f, err := os.OpenFile(o.out, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	if _, err = f.Write(text); err == nil {
		err = f.Sync()
	}
	if err = firstOf(err, f.Close()); err != nil {
		return err
	}
	fmt.Fprintf(out, "\n%s is written for %s at %s. Registers, sizes and limits in it are still the\nexample's. Go through it, then: drumwright check %s\nBefore heat is used:\n", o.out, m.About.Name, m.About.Site, o.out)
	printCautions(out)
	return nil
}

// firstAdapter is the first serial adapter that has a name of its own.
func firstAdapter() string {
	found, _ := filepath.Glob("/dev/serial/by-id/*") // the pattern is right
	if len(found) > 0 {
		return found[0]
	}
	return "/dev/ttyUSB0"
}

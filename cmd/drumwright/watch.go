package main

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"drumwright/io/record"
	"drumwright/io/say"
)

func watchCommand() *cobra.Command {
	address, once := "", false
	c := &cobra.Command{
		Use:   "watch",
		Short: "Show in the terminal what the operator page says of the machine now",
		Long: `watch shows state, what comes, what to do next and what is measured, in the words
of the operator page, and stays with it once a second until Ctrl-C. It gives no
commands: see drumwright help do. It works over ssh.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			d, err := dialDaemon(address)
			if err != nil {
				return err
			}
			return watch(cmd.Context(), d, cmd.OutOrStdout(), once)
		},
	}
	c.Flags().StringVar(&address, "address", "127.0.0.1:8420", "of the daemon: HOST:PORT, or the path of its socket")
	c.Flags().BoolVar(&once, "once", false, "show it once and end")
	return c
}

// watchEvery is how often a person sees new numbers.
const watchEvery = time.Second

func watch(ctx context.Context, d *localAPI, out io.Writer, once bool) error {
	live := isTerminal(out) && !once
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for last := time.Now(); ; {
		text, err := picture(ctx, d)
		switch {
		case err == nil:
			last = time.Now()
		case once || ctx.Err() != nil:
			return err
		default: // never old numbers as if they were new
			text = fmt.Sprintf("No link to the machine for %.0f s: %v\nWhat the machine does now is not known here. Go and look at it.\n", time.Since(last).Seconds(), err)
		}
		if live {
			text = "\x1b[H\x1b[2J" + text
		}
		if _, err := io.WriteString(out, text); err != nil {
			return err
		}
		if once {
			return nil
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// picture is one screen.
func picture(ctx context.Context, d *localAPI) (string, error) {
	ctx, cancel := context.WithTimeout(ctx, 2*time.Second)
	defer cancel()
	var n say.Now
	var v record.View
	var a record.AlarmsView
	for _, part := range []struct {
		path string
		to   any
	}{{"/api/v1/now", &n}, {"/api/v1/state", &v}, {"/api/v1/alarms", &a}} {
		if err := d.get(ctx, part.path, part.to); err != nil {
			return "", err
		}
	}
	return say.Text(&n, &v, &a), nil
}

// insteadOfDo is what leads the commands that need more than one word.
var insteadOfDo = map[record.Kind]string{
	record.TryLoop:  ", use drumwright tune for it",
	record.TurnDrum: ", use drumwright trial for it",
}

// doKinds are the commands that do can give whole.
func doKinds() []string {
	var kinds []string
	for _, k := range record.Kinds {
		if insteadOfDo[k] == "" {
			kinds = append(kinds, string(k))
		}
	}
	return kinds
}

func doCommand() *cobra.Command {
	address, who := "", ""
	var cmdline record.Command
	kinds := doKinds()
	c := &cobra.Command{
		Use:   "do COMMAND",
		Short: "Give the machine a command, as the operator page does",
		Long: `do gives one command to the running daemon and says what became of it. Commands
that set something in motion, give heat or lift a protection are taken at the
machine only: over its local socket or from a loopback address.

Commands: ` + strings.Join(kinds, ", ") + `.
To find gains by an experiment use drumwright tune; to turn the cold drum at a
speed use drumwright trial.`,
		Args:      cobra.ExactArgs(1),
		ValidArgs: kinds,
		RunE: func(cmd *cobra.Command, args []string) error {
			cmdline.Kind = record.Kind(args[0])
			if !slices.Contains(kinds, args[0]) {
				return exitError{codeInput, fmt.Errorf("%q is no command of do%s: allowed are %s", args[0], insteadOfDo[cmdline.Kind], strings.Join(kinds, ", "))}
			}
			d, err := dialDaemon(address)
			if err != nil {
				return err
			}
			ctx, cancel := context.WithTimeout(cmd.Context(), 10*time.Second)
			defer cancel()
			if err := d.order(ctx, cmdline, who); err != nil {
				return err
			}
			_, err = fmt.Fprintln(cmd.OutOrStdout(), "done")
			return err
		},
	}
	f := c.Flags()
	f.StringVar(&address, "address", "127.0.0.1:8420", "of the daemon: HOST:PORT, or the path of its socket")
	f.StringVar(&who, "who", "", "your name; some commands need it")
	f.StringVar(&cmdline.Recipe, "recipe", "", "for load-recipe: its name")
	f.StringVar(&cmdline.Loop, "loop", "", "for manual and automatic: air or base")
	f.Float64Var(&cmdline.Value, "value", 0, "for manual: share of rated power, 0 to 1")
	f.Float64Var(&cmdline.DropC, "drop-c", 0, "for drop-at: bean probe at which the beans go out, °C")
	f.StringVar(&cmdline.Cause, "cause", "", "for acknowledge: one alarm; left out = all")
	return c
}

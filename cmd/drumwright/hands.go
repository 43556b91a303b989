package main

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
)

const controlAPI = "/api/v1/control"

// controlWords are what can be done with control, by the words of the page.
var controlWords = []string{"take", "ask", "give", "release"}

func controlCommand() *cobra.Command {
	address, who := "", ""
	c := &cobra.Command{
		Use:   "control [" + strings.Join(controlWords, "|") + "]",
		Short: "Say who has control of the machine, take it, ask for it, hand it over",
		Long: `control says who has control: the person whose screen or terminal commands the
machine. While somebody has it all others are refused what is not stop,
acknowledge, silence, fire, hold or drop. At the machine it is taken by take; ask
tells who has it that you would like it; give hands it to who asks; release lets it
go. A terminal is known by the name that is given with --who, also to do.`,
		Args:      cobra.MaximumNArgs(1),
		ValidArgs: controlWords,
		RunE: func(cmd *cobra.Command, args []string) error {
			switch {
			case len(args) == 1 && !slices.Contains(controlWords, args[0]):
				return exitError{codeInput, fmt.Errorf("%q is nothing to do with control: allowed are %s, or none to see who has it", args[0], strings.Join(controlWords, ", "))}
			case len(args) == 1 && who == "":
				return exitError{codeInput, fmt.Errorf("--who is missing: give your name")}
			}
			d, err := dialDaemon(address)
			if err != nil {
				return err
			}
			ctx, cancel := context.WithTimeout(cmd.Context(), 10*time.Second)
			defer cancel()
			var v struct {
				Has, ID, Asks string
				AsksID        string `json:"asks_id"`
				Viewers       int
			}
			if len(args) == 1 {
				err = d.post(ctx, controlAPI, map[string]string{"do": args[0], "who": who}, &v)
			} else {
				err = d.get(ctx, controlAPI, &v)
			}
			if err != nil {
				return err
			}
			name := func(s string) string {
				if s == "" {
					return "Another screen"
				}
				return s
			}
			text := "Nobody has control."
			if v.ID != "" {
				text = name(v.Has) + " has control."
			}
			if v.AsksID != "" {
				text += " " + name(v.Asks) + " asks for control."
			}
			_, err = fmt.Fprintf(cmd.OutOrStdout(), "%s %d looking.\n", text, v.Viewers)
			return err
		},
	}
	f := c.Flags()
	f.StringVar(&address, "address", "127.0.0.1:8420", "of the daemon: HOST:PORT, or the path of its socket")
	f.StringVar(&who, "who", "", "your name")
	return c
}

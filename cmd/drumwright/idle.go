package main

import (
	"errors"
	"fmt"
	"io/fs"
	"syscall"

	"github.com/spf13/cobra"

	"drumwright/control/batch"
	"drumwright/io/record"
	"drumwright/profiles"
)

func idleCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "idle MACHINE",
		Short: "Tell whether the daemon may be ended now without cutting anything",
		Long: `idle asks the daemon of a machine what it does. It succeeds when the machine is
cold, or when no daemon answers because none runs. The package asks this before
an upgrade and before its removal.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := profiles.LoadMachine(args[0])
			if err != nil {
				return err
			}
			d, err := dialDaemon(listenAddress(m))
			if err != nil {
				return err
			}
			var v record.StatusView
			err = d.get(cmd.Context(), "/api/v1/state", &v)
			switch {
			case errors.Is(err, syscall.ECONNREFUSED) || errors.Is(err, fs.ErrNotExist):
				fmt.Fprintf(cmd.OutOrStdout(), "no daemon runs for %s\n", m.About.Name)
				return nil
			case err != nil:
				return err
			case v.State != batch.Cold.String():
				return fmt.Errorf("%s is not idle: state %s, next: %s Wait until it is cold, or end the daemon yourself at the machine", m.About.Name, v.State, v.Next)
			}
			fmt.Fprintf(cmd.OutOrStdout(), "%s is cold\n", m.About.Name)
			return nil
		},
	}
}
